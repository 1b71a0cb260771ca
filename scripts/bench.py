"""``make bench``: every benchmark in ``bench/``; each prints its table."""

from __future__ import annotations

import environment
import runner

if __name__ == "__main__":
    benchmarks, _ = runner.find_files(environment.ROOT / "bench")
    if not benchmarks:
        environment.say("bench: there are no benchmarks yet")
        raise SystemExit(0)
    environment.prepare("core")
    raise SystemExit(runner.run_files(benchmarks))
