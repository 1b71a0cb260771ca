"""``make setup``: the environment ``.venv`` with the ``bittern`` command in it, from the lock."""

from __future__ import annotations

import environment

if __name__ == "__main__":
    environment.prepare("core")
    environment.say("setup: done; the command is .venv/bin/bittern")
