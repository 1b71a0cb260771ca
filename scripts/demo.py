"""``make demo``: serve the bench with the demo shop on ``PORT`` (8000 without it)."""

from __future__ import annotations

import os

import environment


def main() -> None:
    """Set up, then become the server, so that Ctrl-C and signals reach it directly."""
    port = os.environ.get("PORT", "").strip() or "8000"
    if not port.isdecimal() or int(port) > 65535:
        environment.stop(f"demo: PORT is {port!r}; expected a number from 0 to 65535")
    environment.prepare("core")
    program = str(environment.VENV / "bin" / "bittern")
    os.chdir(environment.ROOT)
    os.execv(program, [program, "demo", "--port", port])  # noqa: S606 - the server takes this process over


if __name__ == "__main__":
    main()
