"""What an owner may change about people: there is always one owner who can log in."""

from __future__ import annotations

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone

from bittern.bench.errors import PersonError
from bittern.bench.people.lockout import unlock
from bittern.bench.people.models import User
from bittern.work.people import OWNER


def change_role(user: User, role: str) -> None:
    """Give the person another role."""
    with transaction.atomic():
        _lock_owners()
        if role != OWNER:
            _need_another_owner(user)
        User.objects.filter(pk=user.pk).update(role=role)


def deactivate(user: User) -> None:
    """End the person's access; logins that are open end with their next page."""
    with transaction.atomic():
        _lock_owners()
        _need_another_owner(user)
        User.objects.filter(pk=user.pk).update(is_active=False)
        _end_logins(user)


def reactivate(user: User) -> None:
    """Give the person access again; nothing of logins from before comes back."""
    with transaction.atomic():
        _end_logins(user)
        User.objects.filter(pk=user.pk).update(is_active=True)


def set_password(user: User, password: str) -> None:
    """Set a new password, forget failed attempts; logins that are open end."""
    user.set_password(password)
    user.save(update_fields=["password"])
    unlock(user.login)


def _end_logins(user: User) -> None:
    # An ended account is refused at every page, but its session would work again with the account.
    for session in Session.objects.filter(expire_date__gte=timezone.now()):
        if session.get_decoded().get(SESSION_KEY) == str(user.pk):
            session.delete()


def _lock_owners() -> None:
    # Two owners who take each other's role at the same moment would leave none.
    list(User.objects.select_for_update().filter(role=OWNER, is_active=True).order_by("pk").values_list("pk"))


def _need_another_owner(user: User) -> None:
    stored = User.objects.get(pk=user.pk)
    if stored.role != OWNER or not stored.is_active:
        return
    if not User.objects.filter(role=OWNER, is_active=True).exclude(pk=user.pk).exists():
        raise PersonError(
            "the only owner",
            "another owner who can log in",
            where=user.login,
            hint="make somebody else an owner first",
        )
