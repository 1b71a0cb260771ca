"""``make study``: every accuracy study (``bench/study_*.py``); each prints its table."""

from __future__ import annotations

import environment
import runner

if __name__ == "__main__":
    _, studies = runner.find_files(environment.ROOT / "bench")
    if not studies:
        environment.say("study: there are no accuracy studies yet; each engine brings its own as it grows")
        raise SystemExit(0)
    environment.prepare("core")
    raise SystemExit(runner.run_files(studies))
