"""How long one read of a 600 dpi scan takes, start to answer, and how much memory; beside `bittern --help`.

The scan is of 100 x 60 mm or so, of a simulated worn key; targets: 1 s and 500 MB, loading included.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
if str(ROOT / "bench") not in sys.path:
    sys.path.insert(0, str(ROOT / "bench"))

from simulated_keys.key import make_key  # noqa: E402
from simulated_keys.scan import render_scan  # noqa: E402
from simulated_keys.standards import draw_bitting, list_demo_standards  # noqa: E402

REPEATS = 7
TARGET_S, TARGET_MB = 1.0, 500.0


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        scan = Path(folder) / "key.png"
        blade = next(one for one in list_demo_standards() if one.id == "heron-8")
        rng = np.random.default_rng(41)
        scan.write_bytes(render_scan(make_key(blade, draw_bitting(blade, rng), 0.3, rng), 600, rng).png)
        read = [sys.executable, "-m", "bittern", "blade", "read", str(scan), "--dpi", "600", "--standard"]
        rows = {
            "bittern --help": _measure([sys.executable, "-m", "bittern", "--help"]),
            "blade read, one standard": _measure([*read, blade.id]),
            "blade read, any of the demo's": _measure([*read, "any"]),
        }
    shortest = rows["bittern --help"][0]
    print(f"Median of {REPEATS} starts, warm, packages compiled, 600 dpi")
    for name, (took, peak) in rows.items():
        print(f"{name:<32} {1000 * took:7.0f} ms  {took / shortest:5.1f} times as long  {peak:6.0f} MB")
    took, peak = rows["blade read, one standard"]
    print(f"Target below {TARGET_S:g} s: {'held' if took < TARGET_S else 'MISSED'}")
    print(f"Target below {TARGET_MB:g} MB: {'held' if peak < TARGET_MB else 'MISSED'}")


def _measure(words: list[str]) -> tuple[float, float]:
    """Return seconds and peak resident megabytes of one start, medians of several after one to warm up."""
    runs = [_start(words) for _ in range(REPEATS + 1)][1:]
    return median(took for took, _ in runs), median(peak for _, peak in runs)


def _start(words: list[str]) -> tuple[float, float]:
    before, peak = time.perf_counter(), 0.0
    with subprocess.Popen(words, stdout=subprocess.DEVNULL) as process:
        # The system's own figure for a process counts what its parent had when it was started.
        while process.poll() is None:
            peak = max(peak, _read_peak_mb(process.pid))
            time.sleep(0.005)
    if process.returncode:
        raise SystemExit(f"exit code {process.returncode} of {words[2:]}")
    return time.perf_counter() - before, peak


def _read_peak_mb(number: int) -> float:
    try:
        lines = Path(f"/proc/{number}/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM:")), 0.0)


if __name__ == "__main__":
    main()
