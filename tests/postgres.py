"""A PostgreSQL server of one's own: in a temporary folder, on a unix socket, gone when the block ends.

As a program, ``python -m tests.postgres COMMAND …`` runs a command with ``BITTERN_DATABASE`` set to such a
database.
It needs the standard library and Debian's package ``postgresql`` only.
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

DATABASE = "bittern"
# The tests do not survive a loss of power anyway, and the disk is what they would wait for.
QUICK = ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "max_connections=60")


class NoPostgresError(RuntimeError):
    """The server programs are missing or do not start."""


def find_programs() -> Path:
    """Return the folder of the newest server programs; Debian keeps them out of the path."""
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[-3]), reverse=True
    )
    inside = shutil.which("initdb")
    if found:
        return found[0].parent
    if inside:
        return Path(inside).resolve().parent
    raise NoPostgresError("found no initdb; expected Debian's package postgresql")


@contextmanager
def run_server() -> Iterator[str]:
    """Start a server and yield the address of an empty database on it; stop the server at the end."""
    programs = find_programs()
    folder = Path(tempfile.mkdtemp(prefix="bittern-pg-"))
    user = _find_user()
    if user:
        shutil.chown(folder, user)
    try:
        data = folder / "data"
        _run(
            user,
            programs / "initdb",
            "-D",
            data,
            "-U",
            "bittern",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--no-locale",
            "-N",
        )
        _start(user, programs, folder)
        try:
            _run(user, programs / "createdb", "-h", folder, "-U", "bittern", DATABASE)
            yield f"postgresql://bittern@/{DATABASE}?host={folder}"
        finally:
            _run(user, programs / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _start(user: str | None, programs: Path, folder: Path) -> None:
    options = f"-k {folder} -c listen_addresses= " + " ".join(f"-c {word}" for word in QUICK)
    log = folder / "log"
    try:
        _run(
            user,
            programs / "pg_ctl",
            "-D",
            folder / "data",
            "-l",
            log,
            "-w",
            "-t",
            "60",
            "-o",
            options,
            "start",
        )
    except NoPostgresError as error:
        told = log.read_text(errors="replace") if log.exists() else ""
        raise NoPostgresError(f"{error}\n{told}") from error


def _find_user() -> str | None:
    """Return the user to run the server as: it refuses to run as root."""
    if os.geteuid() != 0:
        return None
    try:
        return pwd.getpwnam("postgres").pw_name
    except KeyError:
        return "nobody"


def _run(user: str | None, *words: object) -> None:
    done = subprocess.run(
        [str(word) for word in words],
        user=user,
        cwd="/",
        env={"PATH": os.environ.get("PATH", ""), "LC_ALL": "C"},
        # pg_ctl's server inherits its outputs: a pipe would stay open for as long as it runs.
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL if "start" in words else subprocess.PIPE,
        text=True,
        check=False,
        timeout=120,
    )
    if done.returncode:
        raise NoPostgresError(f"{Path(str(words[0])).name} ended with {done.returncode}: {done.stderr}")


def main(command: list[str]) -> int:
    """Run ``command`` with a database of its own and return its exit code."""
    with run_server() as address:
        return subprocess.run(
            command, env={**os.environ, "BITTERN_DATABASE": address}, check=False
        ).returncode


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
