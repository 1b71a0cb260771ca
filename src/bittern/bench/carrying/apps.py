"""The application's place in Django."""

from __future__ import annotations

from django.apps import AppConfig


class CarryingConfig(AppConfig):
    """Devices that carry runs."""

    name = "bittern.bench.carrying"
    label = "carrying"
    default_auto_field = "django.db.models.BigAutoField"
