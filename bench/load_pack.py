"""How long a pack of a million fitments takes to load and to lay out, and the memory that it takes.

As a ratio to reading the same two files with the standard library's CSV reader alone, in the same run. Each
way runs in a process of its own, so that its peak of memory is its own.
"""

from __future__ import annotations

import csv
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from big_pack import make_catalogue

FITMENTS = 1_000_000
HEAD = {
    "id": "invented", "title": "Invented", "version": "1", "licence": "CC0-1.0", "source": "a generator",
    "region": "nowhere", "currency": "EUR",
}  # fmt: skip


def write_pack(folder: Path) -> None:
    """Write the pack; blades are left out, as their standards are not what is measured."""
    from bittern.formats.pack_tables import format_articles, format_fitments

    catalogue = make_catalogue(FITMENTS)
    articles = (replace(article, blade="") for article in catalogue.articles.values())
    (folder / "pack.toml").write_text("".join(f'{key} = "{text}"\n' for key, text in HEAD.items()))
    (folder / "articles.csv").write_text(format_articles(articles))
    (folder / "fitments.csv").write_text(format_fitments(catalogue.fitments))


def run(way: str, folder: Path) -> None:
    """Do ``way`` once in this process and print its seconds and peak memory."""
    from bittern.formats.packs import check_pack, read_pack

    begun = time.perf_counter()
    if way == "csv":
        for name in ("articles.csv", "fitments.csv"):
            with (folder / name).open(newline="") as stream:
                for _ in csv.reader(stream):
                    pass
    elif way == "check":
        if not check_pack(folder).ok:
            raise SystemExit("the invented pack has faults")
    else:
        pack = read_pack(folder)
        if way == "index":
            begun = time.perf_counter()
            _ = pack.key_index
    seconds = time.perf_counter() - begun
    print(seconds, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)


def main() -> None:
    """Print the table."""
    ways = {
        "csv": "csv.reader alone",
        "read": "read_pack",
        "check": "pack check",
        "index": "laid out, after reading",
    }
    print(f"A pack of {FITMENTS:,} fitments; time as a ratio to csv.reader over the same files.\n")
    print(f"{'way':<26}{'time / csv':>12}{'seconds':>10}{'peak GB':>10}")
    with tempfile.TemporaryDirectory() as name:
        # In a process of its own too: a child's peak counts what its parent held when it was started.
        subprocess.run([sys.executable, __file__, "write", name], check=True)
        unit = 0.0
        for way, words in ways.items():
            command = [sys.executable, __file__, way, name]
            answer = subprocess.run(command, check=True, capture_output=True, text=True).stdout
            seconds, peak = map(float, answer.split())
            unit = unit or seconds
            print(f"{words:<26}{seconds / unit:>12.1f}{seconds:>10.1f}{peak / 1e9:>10.2f}")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        if sys.argv[1] == "write":
            write_pack(Path(sys.argv[2]))
        else:
            run(sys.argv[1], Path(sys.argv[2]))
    else:
        main()
