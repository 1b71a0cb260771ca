"""How long a list of a million fitments takes from its file to the database, and how much memory.

In a process of its own: a CSV file is written, then read, recognised, put into the pack's words, laid over
the demo pack, stored as a layer in a database and laid over the pack again from there. Times are ratios to
one plain pass of ``csv.reader`` over the same file in the same process; the seconds beside them are of this
computer.
"""

from __future__ import annotations

import argparse
import csv
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROWS = 1_000_000
COLUMNS = "Art.-Nr.;Bezeichnung;FCC ID;Frequenz;Tasten;Marke;Modell;Baujahr;Start;EK-Preis"


def write_list(path: Path, rows: int, seed: int = 1) -> None:
    """Write an invented list: an article goes with about thirty vehicles."""
    draw = random.Random(seed)
    articles = []
    for place in range(max(1, rows // 30)):
        label = f"9ZZ{draw.choice('ABCDEFGH')}{draw.choice('KLMNP')}-{draw.randrange(10**6):06d}"
        frequency = draw.choice(["315 MHz", "433,92 MHz", "434,42"])
        buttons = draw.choice(["Zu / Auf", "Zu / Auf / Kofferraum", "lock, unlock, trunk, panic", "3 Tasten"])
        price = f"{draw.randrange(5, 200)},{draw.randrange(100):02d} €"
        articles.append((f"L-{place:06d}", "Funkschlüssel", label, frequency, buttons, price))
    with path.open("w", encoding="utf-8") as stream:
        stream.write(COLUMNS + "\n")
        for _ in range(rows):
            number, title, label, frequency, buttons, price = draw.choice(articles)
            first = draw.randrange(1998, 2024)
            vehicle = f"Make {draw.randrange(40)};Model {draw.randrange(3000)}"
            years, start = f"{first}-{first + draw.randrange(7)}", draw.choice(["turn", "push"])
            stream.write(
                f"{number};{title};{label};{frequency};{buttons};{vehicle};{years};{start};{price}\n"
            )


def run_stages(path: Path) -> dict[str, float]:
    """Return the seconds of each stage."""
    import django

    django.setup()
    from bittern.bench.packs import in_use, store
    from bittern.bench.packs.models import RUNNING, SuppliersList
    from bittern.bench.preparation import prepare_data
    from bittern.demo import PACK_DIR
    from bittern.formats.packs import read_pack
    from bittern.work.supplier.lists import Choices, look_at_list, work_out
    from bittern.work.supplier.reading import Settings

    prepare_data(static=False)
    pack, times = read_pack(PACK_DIR), {}
    begun = time.perf_counter()
    with path.open(encoding="utf-8", newline="") as stream:
        for _ in csv.reader(stream, delimiter=";"):
            pass
    times["plain csv.reader"] = time.perf_counter() - begun
    settings, choices = Settings("EUR", 2027), Choices()
    begun = time.perf_counter()
    look = look_at_list(path, choices, settings)
    times["read and recognised"] = time.perf_counter() - begun
    begun = time.perf_counter()
    outcome = work_out(look, choices, settings, pack)
    times["normalised and merged"] = time.perf_counter() - begun
    begun = time.perf_counter()
    row = store.keep_file(path.name, path.stat().st_size, "bench", [], look.sheet)
    SuppliersList.objects.update(run_state=RUNNING, run_mark="m")
    store.activate(row, "m", outcome.layer, {"changes": outcome.merged.changes}, "bench")
    times["stored"] = time.perf_counter() - begun
    begun = time.perf_counter()
    again = in_use.lay_lists(pack)
    times["laid over the pack again"] = time.perf_counter() - begun
    assert again == outcome.pack
    print(
        f"{outcome.report.rows:,} rows: {outcome.report.articles:,} articles, "
        f"{outcome.merged.fitments.new:,} new fitments, {outcome.fault_count:,} faults"
    )
    return times


def measure(rows: int) -> None:
    """Print the table; called in the process that is measured."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"BITTERN_DATA": folder, "DJANGO_SETTINGS_MODULE": "bittern.bench.settings"}
        path = Path(folder) / "list.csv"
        write_list(path, rows)
        size = path.stat().st_size
        times = run_stages(path)
    plain = times.pop("plain csv.reader")
    whole = sum(times.values())
    print(f"{size / 1e6:,.0f} MB of CSV; one pass of csv.reader takes {plain:.2f} s here")
    print()
    print(f"{'stage':<28}{'/ csv.reader':>13}{'seconds':>9}")
    for name, seconds in [*times.items(), ("all", whole)]:
        print(f"{name:<28}{seconds / plain:>13.1f}{seconds:>9.1f}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print()
    print(f"peak memory {peak:.2f} GB")


def main() -> None:
    """Measure in a process of its own, so that its peak of memory is its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=ROWS)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.here:
        measure(chosen.rows)
        return
    subprocess.run([sys.executable, __file__, "--here", "--rows", str(chosen.rows)], check=True)


if __name__ == "__main__":
    main()
