"""How long `bittern --help` takes, beside an interpreter that does nothing; the target is 0.3 s, warm."""

from __future__ import annotations

import subprocess
import sys
import time
from statistics import median

REPEATS = 9
TARGET_S = 0.3


def main() -> None:
    """Print the table."""
    nothing = _measure([sys.executable, "-c", "pass"])
    answer = _measure([sys.executable, "-m", "bittern", "--help"])
    print(f"Median of {REPEATS} starts, warm")
    print(f"{'an interpreter that does nothing':<34} {1000 * nothing:7.0f} ms")
    print(f"{'bittern --help':<34} {1000 * answer:7.0f} ms   {answer / nothing:5.1f} times as long")
    print(f"Target below {1000 * TARGET_S:.0f} ms: {'held' if answer < TARGET_S else 'MISSED'}")


def _measure(words: list[str]) -> float:
    def start() -> float:
        before = time.perf_counter()
        subprocess.run(words, check=True, capture_output=True)
        return time.perf_counter() - before

    start()
    return median(start() for _ in range(REPEATS))


if __name__ == "__main__":
    main()
