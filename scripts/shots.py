"""``make shots``: pictures of every leg, phone and desktop, taken by the browser tests into docs/pictures."""

from __future__ import annotations

import os

import environment
import system_packages
from environment import say

PICTURES = environment.ROOT / "docs" / "pictures"


def main() -> int:
    """Run the browser tests with the camera on; return their exit code, or 1 when they took no picture."""
    environment.prepare("test")
    wanted = [name for name in system_packages.find_missing() if name != "postgresql"]
    system_packages.install({name: system_packages.REASONS[name] for name in wanted}, who="shots")
    PICTURES.mkdir(parents=True, exist_ok=True)
    before = {path: path.stat().st_mtime_ns for path in PICTURES.glob("*.png")}
    os.environ.pop("BITTERN_DATABASE", None)
    code = environment.run_in_environment(["pytest", "tests/browser"], {"BITTERN_SHOTS": str(PICTURES)})
    taken = [path for path in sorted(PICTURES.glob("*.png")) if before.get(path) != path.stat().st_mtime_ns]
    for path in taken:
        say(f"shots: {path.relative_to(environment.ROOT)}")
    if not taken:
        say("shots: no picture was taken")
    return code or int(not taken)


if __name__ == "__main__":
    raise SystemExit(main())
