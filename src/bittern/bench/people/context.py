"""Who is logged in, for templates."""

from __future__ import annotations

from django.http import HttpRequest

from bittern.bench.people.models import User, as_person


def add_person(request: HttpRequest) -> dict[str, object]:
    """Return ``person``, the account as the use cases know it, or None."""
    user = getattr(request, "user", None)
    return {"person": as_person(user) if isinstance(user, User) else None}
