"""Making a data folder ready: database, key files, static files; again after each new version."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.utils import DatabaseError

from bittern.bench import keys
from bittern.bench.errors import KeyFileError, NotReadyError
from bittern.bench.jobs.models import KeyMark
from bittern.bench.jobs.sealing import mark_key

MARKED = (keys.SEAL, keys.LOG)
# An arbitrary number that all processes of the program share: one of them lays out the tables.
ADVISORY_LOCK = 7_246_811_302


def prepare_data(*, static: bool) -> None:
    """Bring the database to this version, make key files for a new one, collect static files.

    Raises
    ------
    KeyFileError
        A key file is open to others, damaged, missing for a database that was used with it, or another one.
    NotReadyError
        The folder or the database cannot be had.
    """
    folder: Path = settings.BITTERN_DATA
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with _alone(folder):
            _migrate()
            _prepare_keys()
            if static:
                call_command("collectstatic", interactive=False, verbosity=0)
    except OSError as error:
        raise NotReadyError(str(error), "a folder that can be written", where=str(folder)) from error
    except DatabaseError as error:
        raise _unusable(error) from error


def check_data() -> None:
    """Raise NotReadyError unless there is a database of this version; KeyFileError for its keys."""
    if connection.vendor == "sqlite" and not Path(settings.DATABASES["default"]["NAME"]).exists():
        raise _not_there("no database")
    try:
        if _find_missing():
            raise _not_there("a database of another version")
        _check_marks()
    except DatabaseError as error:
        raise _unusable(error) from error


def _find_missing() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def _migrate() -> None:
    with _alone_in_database():
        if _find_missing():
            call_command("migrate", interactive=False, verbosity=0)


def _prepare_keys() -> None:
    """Make keys for a new database; never in place of those that a database was used with."""
    known = set(KeyMark.objects.values_list("name", flat=True))
    keys.make_keys(tuple(name for name in keys.NAMES if name not in known))
    with transaction.atomic():
        for name in MARKED:
            KeyMark.objects.get_or_create(name=name, defaults={"mark": mark_key(name)})
    _check_marks()


def _check_marks() -> None:
    for name, mark in KeyMark.objects.values_list("name", "mark"):
        if mark_key(name) != mark:
            raise KeyFileError(
                "another key than the database was used with",
                "the shop's own",
                where=f"{keys.find_folder() / name}.key",
                hint="put the key file back from its copy",
            )


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Hold the data folder against another start at the same moment."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


@contextlib.contextmanager
def _alone_in_database() -> Iterator[None]:
    """Hold the database against a start on another machine; an SQLite file is held with its folder."""
    if connection.vendor != "postgresql":
        yield
        return
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_lock(%s)", [ADVISORY_LOCK])
        try:
            yield
        finally:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [ADVISORY_LOCK])


def _not_there(found: str) -> NotReadyError:
    return NotReadyError(
        found, "one made by this version", where=str(settings.BITTERN_DATA), hint="run 'bittern setup' first"
    )


def _unusable(error: DatabaseError) -> NotReadyError:
    # The driver's words name host and reason, never the password.
    lines = str(error).strip().splitlines() or ["no answer"]
    return NotReadyError(lines[0], "a database that answers", where="database")
