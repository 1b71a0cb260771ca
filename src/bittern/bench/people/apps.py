"""People as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """Accounts."""

    name = "bittern.bench.people"
    label = "people"
    verbose_name = "People"
