"""How long an identification takes, as a ratio to two plain ways of answering from the same pack.

Beside it, in the same run: an equality look-up in SQL (make, model, year, exact identifier; it answers with
no doubt and no reasons, and finds nothing when one character is wrong), and a straightforward loop in Python
over all rows that scores each fitting row with the same character channel (no outside, no foreign keys, no
questions). An identification gives candidates with reasons, the chance of "not in this pack" and what every
question is worth. Vehicles differ from case to case; milliseconds are an aside, good for one machine.
"""

from __future__ import annotations

import gc
import random
import sqlite3
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from statistics import median

from big_pack import make_catalogue

from bittern.core.channel import CHANNEL_BY_HOW, CONFUSIONS, log_p_read
from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.identification import identify
from bittern.engines.key.index import KeyIndex

SIZES = (250, 10_000, 1_000_000)
CASES = 120
LOOP_CASES = 12
MISREAD = 0.3

Case = tuple[Vehicle, str, Article]
Way = Callable[[Case], str | None]


def make_cases(catalogue: Catalogue, seed: int = 2) -> list[Case]:
    """Return vehicle, identifier as read, and the true article, some with one easily mixed character."""
    draw = random.Random(seed)
    cases: list[Case] = []
    while len(cases) < CASES:
        row = catalogue.fitments[draw.randrange(len(catalogue.fitments))]
        label = list(catalogue.articles[row.article].fcc_id)
        if not label:
            continue
        places = [i for i, c in enumerate(label) if any(c in group for group in CONFUSIONS)]
        if places and draw.random() < MISREAD:
            place = draw.choice(places)
            group = next(group for group in CONFUSIONS if label[place] in group)
            label[place] = draw.choice([c for c in group if c != label[place]])
        vehicle = Vehicle(make=row.make, model=row.model, year=draw.randint(row.year_from, row.year_to))
        cases.append((vehicle, "".join(label), catalogue.articles[row.article]))
    return cases


def open_database(catalogue: Catalogue) -> sqlite3.Connection:
    """Return the catalogue in SQLite, in memory, indexed as well as it can be."""
    database = sqlite3.connect(":memory:")
    database.execute("create table row(make, model, first, last, fcc_id, article)")
    database.executemany(
        "insert into row values (?, ?, ?, ?, ?, ?)",
        [
            (r.make, r.model, r.year_from, r.year_to, catalogue.articles[r.article].fcc_id, r.article)
            for r in catalogue.fitments
        ],
    )
    database.execute("create index place on row(make, model, fcc_id)")
    return database


def look_up(database: sqlite3.Connection, vehicle: Vehicle, reading: str) -> str | None:
    """Return the article whose row and identifier are equal to what was given."""
    found = database.execute(
        "select article from row where make = ? and model = ? and first <= ? and ? <= last and fcc_id = ?",
        (vehicle.make, vehicle.model, vehicle.year, vehicle.year, reading),
    ).fetchone()
    return None if found is None else str(found[0])


def loop(catalogue: Catalogue, rows: Sequence[Fitment], vehicle: Vehicle, reading: str) -> str | None:
    """Return the fitting row's article with the highest share times channel likelihood."""
    best, best_score = None, float("-inf")
    for row in rows:
        if row.make == vehicle.make and row.model == vehicle.model and vehicle.year is not None:
            if not row.year_from - 1 <= vehicle.year <= row.year_to + 1:
                continue
            label = catalogue.articles[row.article].fcc_id
            score = row.share * 2.718281828 ** log_p_read(label, reading, CHANNEL_BY_HOW["read-aloud"])
            if score > best_score:
                best, best_score = row.article, score
    return best


def measure(way: Way, cases: Sequence[Case]) -> tuple[float, float, float]:
    """Return the median seconds of one answer, of processor time too, and the part of right answers."""
    times, busy, right = [], [], 0
    gc.disable()
    for case in cases:
        begun, begun_busy = time.perf_counter(), time.process_time()
        found = way(case)
        times.append(time.perf_counter() - begun)
        busy.append(time.process_time() - begun_busy)
        right += found == case[2].article
    gc.enable()
    return median(times), median(busy), right / len(cases)


def find_best(index: KeyIndex, vehicle: Vehicle, *seen: Observation) -> str | None:
    """Return the likeliest article; the identification also gives doubt, reasons and questions."""
    found = identify(index, vehicle, seen)
    return found.candidates[0].article if found.candidates else None


def make_ways(catalogue: Catalogue) -> dict[str, Way]:
    """Return every way of answering from ``catalogue``."""
    index, database, rows = KeyIndex(catalogue), open_database(catalogue), list(catalogue.fitments)

    def read_aloud(case: Case) -> str | None:
        return find_best(index, case[0], Observation("fcc_id", case[1], "read-aloud"))

    def seen(vehicle: Vehicle, article: Article) -> str | None:
        buttons = Observation("buttons", article.buttons, "seen")
        return find_best(
            index, vehicle, buttons, Observation("frequency_hz", article.frequency_hz, "measured")
        )

    return {
        "SQL equality": lambda case: look_up(database, case[0], case[1]),
        "plain loop over the rows": lambda case: loop(catalogue, rows, case[0], case[1]),
        "identifier read aloud": read_aloud,
        "buttons and frequency": lambda case: seen(case[0], case[2]),
        "the same, no make, first time": lambda case: seen(replace(case[0], make="", model=""), case[2]),
        "the same, no make, again": lambda case: seen(replace(case[0], make="", model=""), case[2]),
    }


def main() -> None:
    """Print the table."""
    print(f"Identifications, {MISREAD:.0%} of the identifiers with one wrong character; median of")
    print(
        f"{CASES} cases (plain loop {LOOP_CASES}), as a ratio to the SQL equality look-up of the same run.\n"
    )
    print(f"{'fitments':>9}  {'way':<31}{'time / SQL':>11}{'first right':>13}{'ms':>9}{'CPU ms':>9}")
    for size in SIZES:
        catalogue = make_catalogue(size)
        cases, unit = make_cases(catalogue), 0.0
        for name, way in make_ways(catalogue).items():
            chosen = cases[:LOOP_CASES] if "loop" in name else cases
            if "first time" in name:
                # One case a year: what is worked out for a year is kept, and counted as "again".
                chosen = list({case[0].year: case for case in cases}.values())[:8]
            seconds, busy, right = measure(way, chosen)
            unit = unit or seconds
            print(
                f"{size:>9,}  {name:<31}{seconds / unit:>11.1f}{right:>13.1%}{1e3 * seconds:>9.2f}"
                f"{1e3 * busy:>9.2f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
