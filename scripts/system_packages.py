"""What is needed beside Python packages, from Debian's own: said before it is done, and only when missing."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from environment import say

SERVER_FOLDER = Path("/usr/lib/postgresql")
REASONS = {
    "chromium": "the browser tests drive it",
    "fonts-dejavu-core": "without any font the browser tests would look at empty boxes",
    "postgresql": "the store tests run on it as well as on SQLite, in a server that ends with them",
}


def find_missing() -> list[str]:
    """Return the Debian packages that the tests need and this machine lacks."""
    missing = []
    if not shutil.which("chromium"):
        missing.append("chromium")
    if not has_font():
        missing.append("fonts-dejavu-core")
    if not has_postgresql():
        missing.append("postgresql")
    return missing


def has_font() -> bool:
    """Tell whether the machine has any outline font."""
    if shutil.which("fc-list"):
        listed = subprocess.run(["fc-list"], capture_output=True, text=True, check=False).stdout
        return bool(listed.strip())
    folder = Path("/usr/share/fonts")
    return any(path.suffix.lower() in (".ttf", ".otf") for path in folder.rglob("*"))


def has_postgresql() -> bool:
    """Tell whether PostgreSQL's server programs are here; Debian keeps them out of the path."""
    return bool(shutil.which("initdb")) or any(SERVER_FOLDER.glob("*/bin/initdb"))


def install(packages: dict[str, str], *, who: str) -> bool:
    """Install Debian packages, saying first which and why; tell whether they are now there.

    Parameters
    ----------
    packages
        Name of each package, and the reason why it is needed.
    who
        The script that asks, for the printed lines.
    """
    for name, reason in packages.items():
        say(f"{who}: {name} is missing: {reason}")
    if not packages:
        return True
    names = list(packages)
    apt = shutil.which("apt-get")
    prefix = _raise_rights()
    if apt is None or prefix is None:
        lack = "there is no apt-get here" if apt is None else "this takes root or sudo"
        say(f"{who}: cannot install them: {lack}; the tests that need {' '.join(names)} will fail")
        return False
    say(f"{who}: installing from Debian's packages: {' '.join(names)}")
    settings = ["env", "DEBIAN_FRONTEND=noninteractive"]
    for step in (["update", "-qq"], ["install", "-y", "-qq", "--no-install-recommends", *names]):
        command = [*prefix, *settings, apt, *step]
        if subprocess.run(command, stdin=subprocess.DEVNULL, stdout=sys.stderr, check=False).returncode:
            say(f"{who}: apt-get {step[0]} failed; see its message above")
            # A stale list may still do; what counts is whether the install works.
            if step[0] == "install":
                return False
    return True


def _raise_rights() -> list[str] | None:
    if os.geteuid() == 0:
        return []
    sudo = shutil.which("sudo")
    if sudo is None:
        return None
    # Without a terminal nobody can type a password: fail at once rather than wait for one.
    return [sudo] if sys.stdin is not None and sys.stdin.isatty() else [sudo, "-n"]
