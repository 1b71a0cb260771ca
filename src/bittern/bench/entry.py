"""The door from the command line into the web application: all that ``cli`` may use of it."""

from __future__ import annotations

import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import django
from django.apps import apps
from django.conf import settings
from django.utils import timezone

from bittern.bench.errors import NoSuchPersonError, NotReadyError, PersonError
from bittern.core.errors import shorten

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import tzinfo

    from bittern.bench.people.models import User
    from bittern.work.chain import LogFault
    from bittern.work.people import Person
    from bittern.work.ports import Desk

DEMO_DATA = Path("var/demo")


@dataclass(frozen=True, slots=True)
class LogReport:
    """What a verification of all logs found."""

    jobs: int
    entries: int
    faults: tuple[LogFault, ...]

    @property
    def ok(self) -> bool:
        """Tell whether nothing was found."""
        return not self.faults

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        faults = [asdict(fault) for fault in self.faults]
        return {"ok": self.ok, "jobs": self.jobs, "entries": self.entries, "faults": faults}


def configure(data: Path | None) -> None:
    """Start Django on the data folder; without one as the environment says."""
    # What this program writes is nobody else's to read.
    os.umask(0o077)
    if data is not None and not apps.ready:
        os.environ["BITTERN_DATA"] = str(data.absolute())
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "bittern.bench.settings")
    if not apps.ready:
        django.setup()
    if data is not None and data.absolute() != settings.BITTERN_DATA:
        raise NotReadyError(
            f"data folder {settings.BITTERN_DATA} in use", "one data folder in a process", where=str(data)
        )


def open_desk(data: Path | None) -> Desk:
    """Return the desk on a data folder that ``setup``, ``serve`` or ``demo`` has made ready."""
    configure(data)
    from bittern.bench.desk import open_desk as open_it
    from bittern.bench.preparation import check_data

    check_data()
    return open_it()


def find_person(login: str) -> Person:
    """Return who has this login name and works here; raises NoSuchPersonError."""
    from bittern.bench.people.models import User, as_person, normalise_login

    user = User.objects.filter(login=normalise_login(login)[:40], is_active=True).first()
    if user is None:
        raise NoSuchPersonError(shorten(login), "the login name of somebody who works here")
    return as_person(user)


def find_zone() -> tzinfo:
    """Return the shop's time zone; after :func:`open_desk`."""
    return timezone.get_default_timezone()


def setup(data: Path | None) -> bool:
    """Make the data folder ready and tell whether it has an owner already."""
    configure(data)
    from bittern.bench.people.models import User
    from bittern.bench.preparation import prepare_data
    from bittern.work.people import OWNER

    prepare_data(static=True)
    return User.objects.filter(role=OWNER, is_active=True).exists()


def add_owner(login: str, name: str, password: str) -> None:
    """Add an owner; raises PersonError when name or password will not do."""
    from bittern.bench.people.models import User, normalise_login
    from bittern.work.people import OWNER

    login = normalise_login(login)
    if User.objects.filter(login=login).exists():
        raise PersonError(
            f"the login name {login} in use", "a new one", hint="--reset gives that person a new password"
        )
    user = User(login=login, name=name.strip() or login, role=OWNER)
    _check_password(user, password)
    user.set_password(password)
    user.save(force_insert=True)


def reset_owner(login: str, password: str) -> None:
    """Give an owner a new password, and access again; raises NoSuchPersonError, PersonError."""
    from bittern.bench.people import roster
    from bittern.bench.people.models import User, normalise_login
    from bittern.work.people import OWNER

    user = User.objects.filter(login=normalise_login(login)[:40], role=OWNER).first()
    if user is None:
        raise NoSuchPersonError(shorten(login), "the login name of an owner")
    _check_password(user, password)
    roster.set_password(user, password)
    roster.reactivate(user)


def verify_log(data: Path | None) -> LogReport:
    """Verify every job's log and record."""
    configure(data)
    from bittern.bench.jobs.verification import count_checked, verify_logs
    from bittern.bench.preparation import check_data

    check_data()
    faults = tuple(verify_logs())
    return LogReport(*count_checked(), faults)


def serve(port: int, data: Path | None, tell: Callable[[str], None]) -> None:
    """Serve the shop's own data until it is stopped; ``tell`` prints the address."""
    configure(data)
    from bittern.bench.preparation import prepare_data
    from bittern.bench.serving import name_address, open_socket, run_server

    # First of all: nothing is made, and nobody waits, for a port that cannot be had.
    with open_socket(port) as listener:
        prepare_data(static=True)
        if not _has_people():
            raise NotReadyError(
                "nobody who could log in",
                "an owner",
                where=str(settings.BITTERN_DATA),
                hint="run 'bittern setup' first",
            )
        listener.listen(128)
        tell(f"Bittern serves {settings.BITTERN_DATA} at {name_address(listener)}")
        run_server(listener)


def demo(port: int, data: Path | None, tell: Callable[[str], None]) -> None:
    """Serve the demo shop until it is stopped; ``tell`` prints the address and the accounts."""
    configure(data or DEMO_DATA)
    from bittern.bench.preparation import prepare_data
    from bittern.bench.serving import name_address, open_socket, run_server

    with open_socket(port) as listener:
        prepare_data(static=True)
        load_demo()
        listener.listen(128)
        tell(f"Bittern serves the demo shop at {name_address(listener)}")
        for line in describe_demo():
            tell(line)
        run_server(listener)


def load_demo() -> None:
    """Put the demo shop into an empty database, whole or not at all."""
    from django.db import transaction

    from bittern.bench.desk import open_desk as open_it
    from bittern.bench.people.demo_cast import DEMO_PEOPLE
    from bittern.bench.people.models import User

    known = {person.login for person in DEMO_PEOPLE}
    with transaction.atomic():
        there = set(User.objects.values_list("login", flat=True))
        if known <= there:
            return
        if there:
            raise NotReadyError(
                "a shop's own data", "a folder of its own for the demo", where=str(settings.BITTERN_DATA)
            )
        from bittern.bench.demo.load import load_demo_shop

        for person in DEMO_PEOPLE:
            User.objects.create_user(
                person.login, name=person.name, role=person.role, password=person.password
            )
        load_demo_shop(open_it())


def describe_demo() -> list[str]:
    """Return the demo accounts as lines."""
    from bittern.bench.people.demo_cast import DEMO_PEOPLE

    width = max(len(person.login) for person in DEMO_PEOPLE)
    return [
        "Accounts, for trying out only: everybody can read these passwords.",
        *(f"  {one.login:<{width}}  {one.password:<16}  {one.role} ({one.name})" for one in DEMO_PEOPLE),
        f"Data: {settings.BITTERN_DATA}. Ctrl-C stops.",
    ]


def _has_people() -> bool:
    from bittern.bench.people.models import User

    return User.objects.filter(is_active=True).exists()


def _check_password(user: User, password: str) -> None:
    from django.contrib.auth.password_validation import validate_password
    from django.core.exceptions import ValidationError

    try:
        user.clean_fields(exclude=["password"])
        validate_password(password, user)
    except ValidationError as error:
        raise PersonError("; ".join(error.messages), "a login name and a password that will do") from error
