"""What happens after too many wrong passwords."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from axes.utils import reset
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from bittern.bench.people.models import normalise_login


def find_login(request: HttpRequest | None, credentials: Mapping[str, Any] | None = None) -> str:
    """Return the login name that attempts are counted under: one name however it is typed."""
    typed = (credentials or {}).get("username") or (request.POST.get("username") if request else "") or ""
    return normalise_login(str(typed))[:255].replace("\x00", "")


def show_lockout(request: HttpRequest, response: HttpResponse, credentials: Any = None) -> HttpResponse:
    """Answer an attempt while the name is locked."""
    minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
    return render(request, "registration/locked.html", {"minutes": minutes}, status=429)


def unlock(login: str) -> None:
    """Forget failed attempts under this login name."""
    reset(username=login)
