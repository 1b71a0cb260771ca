"""Every page asks who is there, unless its view says otherwise."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.shortcuts import resolve_url


class GateMiddleware(LoginRequiredMiddleware):
    """Sends to the login page; a fragment asked for by a page takes the whole page there."""

    def handle_no_permission(self, request: HttpRequest, view_func: Callable[..., Any]) -> Any:
        """Answer somebody who is not logged in."""
        if getattr(request, "htmx", False):
            # A login form inside a fragment would replace what was being typed.
            return HttpResponse(
                status=401, headers={"HX-Redirect": resolve_url(self.get_login_url(view_func))}
            )
        return super().handle_no_permission(request, view_func)
