"""Who works here."""

from __future__ import annotations

import re
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, AnonymousUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.db import models

from bittern.work.people import COUNTER, OWNER, ROLES, TECHNICIAN, Person

ROLE_WORDS = {
    OWNER: "Owner: everything, with people and shop",
    TECHNICIAN: "Technician: jobs, blades, pairing",
    COUNTER: "Counter: requests, promises, handover",
}
LOGIN = re.compile(r"[a-z][a-z0-9._-]{1,39}", re.ASCII)
LOGIN_RULE = "2 to 40 small letters, digits, dots or hyphens, a letter first"


def normalise_login(text: str) -> str:
    """Return a login name as it is stored, whatever the phone's keyboard made of it."""
    return text.strip().lower()


def check_login(text: str) -> None:
    """Raise ValidationError unless ``text`` can be a login name."""
    if not LOGIN.fullmatch(text):
        raise ValidationError(f"Found {text[:40]!r}; expected {LOGIN_RULE}.")


class UserManager(BaseUserManager["User"]):
    """Makes accounts and finds them by login name."""

    def get_by_natural_key(self, username: str | None) -> User:
        """Return the account with this login name."""
        return self.get(login=normalise_login(username or ""))

    def create_user(
        self, login: str, *, name: str = "", role: str = COUNTER, password: str | None = None
    ) -> User:
        """Create an account; without a password nobody can log in with it."""
        user = self.model(login=normalise_login(login), name=name or login, role=role)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser):
    """One who works here; the login name stands in logs and is never given to another person."""

    login = models.CharField(
        "login name",
        max_length=40,
        unique=True,
        validators=[check_login],
        error_messages={"unique": "Somebody has this login name, or had it: choose another."},
    )
    name = models.CharField("name on papers", max_length=80)
    role = models.CharField("role", max_length=16, default=COUNTER)
    is_active = models.BooleanField("works here", default=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "login"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    class Meta:
        ordering: ClassVar[list[str]] = ["-is_active", "name", "login"]
        constraints: ClassVar[list[Any]] = [
            models.CheckConstraint(condition=models.Q(role__in=ROLES), name="people_user_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.login})"

    def get_full_name(self) -> str:
        """Return the name on papers."""
        return self.name

    def get_short_name(self) -> str:
        """Return the login name."""
        return self.login


def as_person(user: User | AbstractBaseUser | AnonymousUser) -> Person:
    """Return the account as the use cases know it; the user must be logged in."""
    if not isinstance(user, User):
        # request.user is lazy and passes isinstance; what fails is nobody.
        raise TypeError("nobody is logged in")
    return Person(user.login, user.name, user.role)
