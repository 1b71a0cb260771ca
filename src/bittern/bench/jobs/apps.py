"""Jobs as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Jobs on record."""

    name = "bittern.bench.jobs"
    label = "jobs"
    verbose_name = "Jobs"
