"""How long an identification takes, as a ratio to two plain ways of answering from the same pack.

Beside it, in the same run: an equality look-up in SQL (make, model, year, exact identifier; it answers with
no doubt and no reasons, and finds nothing when one character is wrong), and a straightforward loop in Python
over all rows that scores each fitting row with the same character channel (no outside, no foreign keys, no
questions).
"""

from __future__ import annotations

import gc
import random
import sqlite3
import time
from collections.abc import Callable, Sequence
from statistics import median

from bittern.core.channel import CHANNEL_BY_HOW, CONFUSIONS, log_p_read
from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.identification import identify
from bittern.engines.key.index import KeyIndex

SIZES = (250, 10_000)
CASES = 120
MISREAD = 0.3


def make_catalogue(rows: int, seed: int = 1) -> Catalogue:
    """Return an invented catalogue of about ``rows`` fitments."""
    draw = random.Random(seed)
    articles: dict[str, Article] = {}
    fitments: list[Fitment] = []
    model = 0
    while len(fitments) < rows:
        make, model, first = f"Make {model % 14}", model + 1, 2004 + draw.randrange(12)
        last = first + draw.randrange(2, 7)
        count = draw.choice([1, 2, 3])
        for _ in range(count):
            name = f"A-{len(articles):06d}"
            code = "".join(draw.choice("0123456789ABHKMXZ") for _ in range(6))
            articles[name] = Article(
                name,
                name,
                "remote",
                fcc_id=f"K{'ABCDEFGHJKLMNP'[model % 14]}{2 + model % 7}-{code}",
                frequency_hz=draw.choice([315e6, 433.92e6, 434.42e6]),
                buttons=("lock", "unlock", "boot", "panic")[: draw.randint(2, 4)],
                blade=f"blade-{draw.randrange(8)}",
            )
            start = draw.choice(["turn", "push"])
            fitments.append(Fitment(make, f"Model {model}", first, last, start, "", "", name, 0.95 / count))
    return Catalogue(articles, tuple(fitments))


def make_cases(catalogue: Catalogue, seed: int = 2) -> list[tuple[Vehicle, str, str]]:
    """Return vehicle, identifier as read, and the true article, some with one easily mixed character."""
    draw = random.Random(seed)
    cases = []
    for row in draw.choices(catalogue.fitments, k=CASES):
        label = list(catalogue.articles[row.article].fcc_id)
        places = [i for i, c in enumerate(label) if any(c in group for group in CONFUSIONS)]
        if places and draw.random() < MISREAD:
            place = draw.choice(places)
            group = next(group for group in CONFUSIONS if label[place] in group)
            label[place] = draw.choice([c for c in group if c != label[place]])
        vehicle = Vehicle(make=row.make, model=row.model, year=draw.randint(row.year_from, row.year_to))
        cases.append((vehicle, "".join(label), row.article))
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


def loop(catalogue: Catalogue, vehicle: Vehicle, reading: str) -> str | None:
    """Return the fitting row's article with the highest share times channel likelihood."""
    best, best_score = None, float("-inf")
    for row in catalogue.fitments:
        if row.make == vehicle.make and row.model == vehicle.model and vehicle.year is not None:
            if not row.year_from - 1 <= vehicle.year <= row.year_to + 1:
                continue
            label = catalogue.articles[row.article].fcc_id
            score = row.share * 2.718281828 ** log_p_read(label, reading, CHANNEL_BY_HOW["read-aloud"])
            if score > best_score:
                best, best_score = row.article, score
    return best


Way = Callable[[Vehicle, str], str | None]


def measure(way: Way, cases: Sequence[tuple[Vehicle, str, str]]) -> tuple[float, float]:
    """Return the median seconds of one answer and the part of right answers."""
    times, right = [], 0
    gc.disable()
    for vehicle, reading, true in cases:
        begun = time.perf_counter()
        found = way(vehicle, reading)
        times.append(time.perf_counter() - begun)
        right += found == true
    gc.enable()
    return median(times), right / len(cases)


def best_of(index: KeyIndex, vehicle: Vehicle, reading: str) -> str | None:
    """Return the likeliest article; the identification also gives doubt, reasons and questions."""
    found = identify(index, vehicle, [Observation("fcc_id", reading, "read-aloud")])
    return found.candidates[0].article if found.candidates else None


def main() -> None:
    """Print the table."""
    print(
        f"Identification from make, model, year and an identifier read aloud, {MISREAD:.0%} of them with one"
    )
    print(
        "wrong character; median of", CASES, "cases, as a ratio to the SQL equality look-up of the same run."
    )
    print()
    print(f"{'fitments':>9}  {'way':<28}{'time / SQL':>11}{'first right':>13}")
    for size in SIZES:
        catalogue = make_catalogue(size)
        cases, index, database = make_cases(catalogue), KeyIndex(catalogue), open_database(catalogue)
        ways: dict[str, Way] = {
            "SQL equality": lambda v, r, d=database: look_up(d, v, r),  # type: ignore[misc]
            "plain loop over the rows": lambda v, r, c=catalogue: loop(c, v, r),  # type: ignore[misc]
            "identify": lambda v, r, i=index: best_of(i, v, r),  # type: ignore[misc]
        }
        unit = 0.0
        for name, way in ways.items():
            way(*cases[0][:2])
            seconds, right = measure(way, cases)
            unit = unit or seconds
            print(f"{len(catalogue.fitments):>9,}  {name:<28}{seconds / unit:>11.1f}{right:>13.1%}")


if __name__ == "__main__":
    main()
