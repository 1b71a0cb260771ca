"""What tests of the bench share: an own data folder, a database, a fixed cast, a clock that steps."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from django.conf import settings

if TYPE_CHECKING:
    from django.test import Client

    from bittern.bench.people.models import User
    from bittern.work.ports import Desk

# Neither tests nor the programs they start ever touch the data of whoever runs them.
DATA = Path(tempfile.mkdtemp(prefix="bittern-tests-"))
atexit.register(shutil.rmtree, DATA, ignore_errors=True)
KEPT = ("BITTERN_DATABASE", "BITTERN_SHOTS")
for name in [name for name in os.environ if name.startswith("BITTERN_") and name not in KEPT]:
    del os.environ[name]
os.environ["BITTERN_DATA"] = str(DATA)
settings.BITTERN_DATA = DATA
settings.BITTERN_KEYS = None
settings.BITTERN_PACK = None
settings.STATIC_ROOT = DATA / "static"
# Addresses as in the sources, without collecting first; tests of the running server use the real storage.
settings.STORAGES = {
    **settings.STORAGES,
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if not name.startswith("whitenoise.")]
settings.ALLOWED_HOSTS = ["testserver", *settings.ALLOWED_HOSTS]


@dataclass(frozen=True, slots=True)
class Cast:
    """The people of the tests; a stranger is a client that is not logged in."""

    owner: User
    technician: User
    colleague: User
    counter: User


@pytest.fixture(scope="session", autouse=True)
def _keys() -> None:
    from bittern.bench.keys import make_keys

    make_keys()


@pytest.fixture
def cast(db: None) -> Cast:
    """Return accounts that nobody can log in to by password: that would cost a slow hash for each."""
    from bittern.bench.people.models import User

    make = User.objects.create_user
    return Cast(
        owner=make("odile", name="Odile Marram", role="owner"),
        technician=make("tamsin", name="Tamsin Reedmace", role="technician"),
        colleague=make("corin", name="Corin Sallow", role="technician"),
        counter=make("calla", name="Calla Withy", role="counter"),
    )


@pytest.fixture
def log_in() -> Callable[[Any], Client]:
    """Return a function that gives a new browser in which this person is logged in; None: a stranger."""
    from django.test import Client

    def log_in(user: Any) -> Client:
        client = Client()
        if user is not None:
            client.force_login(user)
        return client

    return log_in


@pytest.fixture
def desk(db: None) -> Desk:
    """Return a desk on the test database with the demo pack and a clock that steps a second at each look."""
    from bittern.bench.desk import open_desk
    from bittern.work.memory import StepClock

    return open_desk(clock=StepClock())
