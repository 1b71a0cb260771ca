"""The project's own environment: made in ``.venv`` from the committed lock, with the standard library alone.

The scripts beside this one call :func:`prepare`. Its first run takes a minute or two; later ones read a stamp
and return at once. Nothing here knows an address: pip and uv find the packages where the machine lets them,
and the lock's hashes decide whether what they found is right.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / "bittern-setup.json"
WANTED = (3, 11)
# test.txt holds everything of core.txt at the same versions: an environment for tests serves as core.
LOCKS = {"core": ROOT / "requirements" / "core.txt", "test": ROOT / "requirements" / "test.txt"}


def say(line: str) -> None:
    """Print one line at once, so that it stands before the output of the program it announces."""
    print(line, flush=True)


def stop(line: str) -> NoReturn:
    """End with one clear line on standard error."""
    print(line, file=sys.stderr, flush=True)
    raise SystemExit(2)


def prepare(group: str) -> None:
    """Make or renew ``.venv`` with the locked packages of ``group`` (core or test) and Bittern itself."""
    if is_ready(group):
        return
    use_wanted_python()
    with _alone():
        # Somebody else may have done it while this process waited for its turn.
        if is_ready(group):
            return
        begun = time.monotonic()
        # A renewal must not take the test tools away from an environment that has them; pytest itself is
        # asked, as a renewal that was broken off leaves no stamp.
        group = "test" if (VENV / "bin" / "pytest").exists() else group
        STAMP.unlink(missing_ok=True)
        make_environment()
        install_locked(LOCKS[group])
        install_project()
        STAMP.write_text(json.dumps({"group": group, "prints": fingerprints()}, indent=1) + "\n")
        say(f"setup: .venv is ready ({group}), {time.monotonic() - begun:.0f} s")


def is_ready(group: str) -> bool:
    """Tell whether the environment was made here, from the present lock, for ``group`` or more."""
    stamped = _stamped()
    return (
        stamped.get("group") in (group, "test")
        and stamped.get("prints") == fingerprints()
        and PYTHON.exists()
        and (VENV / "bin" / "bittern").exists()
    )


def fingerprints() -> dict[str, str]:
    """Return what the environment depends on; the folder is part of it, as an environment cannot be moved."""
    prints = {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in LOCKS.items()}
    prints["project"] = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    prints["folder"] = str(ROOT)
    return prints


def use_wanted_python() -> None:
    """Go on under Python 3.11, replacing this process when ``python3`` is another and 3.11 is here."""
    if sys.version_info[:2] == WANTED:
        return
    name = f"python{WANTED[0]}.{WANTED[1]}"
    other = shutil.which(name)
    # Running it sees through wrappers that stand in the path for a version that is not installed.
    if other and subprocess.run([other, "-c", ""], capture_output=True, check=False).returncode == 0:
        os.execv(other, [other, *sys.argv])  # noqa: S606 - the same script under the right Python
    found = ".".join(map(str, sys.version_info[:3]))
    stop(f"setup: found Python {found} and no {name}; Bittern needs Python 3.11, install it first")


def make_environment() -> None:
    """Make an empty environment unless a working one of the right version stands there."""
    probe = "import sys, pip; raise SystemExit(sys.version_info[:2] != (3, 11))"
    if PYTHON.exists() and _succeeds([str(PYTHON), "-c", probe]):
        return
    say("setup: making .venv")
    if not _succeeds([sys.executable, "-c", "import ensurepip, venv"]):
        # Debian keeps the module that puts pip into an environment in a package of its own.
        from system_packages import install

        install({"python3-venv": "to make the environment .venv"}, who="setup")
    done = subprocess.run([sys.executable, "-m", "venv", "--clear", str(VENV)], check=False)
    if done.returncode:
        stop("setup: python3 -m venv failed; see its message above")


def install_locked(lock: Path) -> None:
    """Install exactly what ``lock`` names, each file checked against its hashes: by uv, else by pip."""
    name = lock.relative_to(ROOT)
    say(f"setup: installing the packages of {name}, each checked against its hash")
    if install_uv(lock):
        uv = [str(VENV / "bin" / "uv"), "pip", "sync", "--require-hashes", "--python", str(PYTHON)]
        # Compiled once here: else every start compiles again wherever Python may not keep what it compiled.
        if subprocess.run([*uv, "--compile-bytecode", str(lock)], cwd=ROOT, check=False).returncode == 0:
            return
        say("setup: uv could not do it; trying the same with pip")
    # The lock is complete, and rapidocr's wish for another build of OpenCV is overridden in it on purpose.
    if _pip(["--require-hashes", "--no-deps", "-r", str(lock)]):
        stop(f"setup: the packages of {name} could not be installed; see the messages above")


def install_uv(lock: Path) -> bool:
    """Install uv itself, at the locked version and hashes; tell whether that worked."""
    with tempfile.TemporaryDirectory() as folder:
        only = Path(folder) / "uv.txt"
        only.write_text(extract(lock.read_text(), "uv"))
        return _pip(["--require-hashes", "--no-deps", "-r", str(only)]) == 0


def extract(lock_text: str, package: str) -> str:
    """Return the lines of a lock that pin ``package``, with their hashes."""
    kept: list[str] = []
    inside = False
    for line in lock_text.splitlines(keepends=True):
        if not line[:1].isspace():
            inside = line.startswith(f"{package}==")
        if inside and not line.lstrip().startswith("#"):
            kept.append(line)
    if not kept:
        stop(f"setup: the lock does not name {package}")
    return "".join(kept)


def install_project() -> None:
    """Put the ``bittern`` command into the environment, running from this folder's sources."""
    # setuptools comes from the lock: without build isolation nothing unlocked is fetched for the build.
    if _pip(["--no-deps", "--no-build-isolation", "--editable", str(ROOT)]):
        stop("setup: Bittern itself could not be installed into .venv; see the messages above")
    subprocess.run([str(PYTHON), "-m", "compileall", "-q", "-j", "0", str(ROOT / "src")], check=False)


def run_in_environment(arguments: list[str], extra: dict[str, str] | None = None) -> int:
    """Run a program of the environment from the project's folder and return its exit code."""
    program = [str(VENV / "bin" / arguments[0]), *arguments[1:]]
    return subprocess.run(
        program, cwd=ROOT, env={**os.environ, **(extra or {})}, stdin=subprocess.DEVNULL, check=False
    ).returncode


def _pip(arguments: list[str]) -> int:
    command = [str(PYTHON), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", *arguments]
    return subprocess.run(command, cwd=ROOT, check=False).returncode


def _succeeds(command: list[str]) -> bool:
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


def _stamped() -> dict[str, object]:
    try:
        stamped = json.loads(STAMP.read_text())
    except (OSError, ValueError):
        return {}
    return stamped if isinstance(stamped, dict) else {}


@contextmanager
def _alone() -> Iterator[None]:
    """Hold the project's folder against a second setup at the same time (two terminals, two targets)."""
    import fcntl

    handle = os.open(ROOT, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
