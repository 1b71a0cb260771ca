"""Runs a program of the environment on a PostgreSQL server that is started for it and ends with it.

Run in the environment: ``.venv/bin/python scripts/on_postgresql.py pytest -m store``.
"""

from __future__ import annotations

import sys

import environment

sys.path.insert(0, str(environment.ROOT))


def main(program: list[str]) -> int:
    """Run ``program`` with ``BITTERN_DATABASE`` naming a server of its own; return its exit code."""
    from tests.postgres import run_server

    with run_server() as address:
        return environment.run_in_environment(program, {"BITTERN_DATABASE": address})


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
