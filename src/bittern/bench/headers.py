"""Headers that Django does not set by itself."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

UNUSED = (
    "accelerometer", "camera", "display-capture", "geolocation", "gyroscope", "magnetometer", "microphone",
    "midi", "payment", "serial", "usb",
)  # fmt: skip


class HeadersMiddleware:
    """Switch off what the pages never use, and keep pages about customers out of shared caches."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response
        self.policy = ", ".join(f"{feature}=()" for feature in UNUSED)

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer with the headers added."""
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", self.policy)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cache-Control", "private, no-cache")
        return response
