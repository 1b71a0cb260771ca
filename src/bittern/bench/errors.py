"""Errors of the bench: what keeps it from starting, and who or what it cannot find."""

from __future__ import annotations

from bittern.core.errors import BitternError


class BenchError(BitternError):
    """Base of the bench's own errors."""

    code = "bench"
    meaning = "The bench cannot do what was asked."


class SettingError(BenchError):
    """A setting in the environment cannot be understood."""

    code = "bench.setting"
    meaning = "A setting in the environment cannot be understood."


class KeyFileError(BenchError):
    """A key file is missing, damaged, readable by others, or another one than the database was used with."""

    code = "bench.key-file"
    meaning = (
        "A key file is missing, damaged, open to others, or another one than the database was used with."
    )


class NotReadyError(BenchError):
    """The data folder holds no database, or one of another version of the program."""

    code = "bench.not-ready"
    meaning = "The data folder holds no database yet, or one of another version of the program."


class PortError(BenchError):
    """The address to serve on cannot be had."""

    code = "bench.port"
    meaning = "The address to serve on is in use or not allowed."


class NoSuchPersonError(BenchError):
    """Nobody who works here has this login name."""

    code = "bench.no-such-person"
    meaning = "Nobody who works here has this login name."


class PersonError(BenchError):
    """Something about a person who works here cannot be changed this way."""

    code = "bench.person"
    meaning = "This cannot be changed about a person who works here."
