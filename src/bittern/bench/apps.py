"""The bench as a Django application: its templates, static files and template tags."""

from __future__ import annotations

from django.apps import AppConfig


class BenchConfig(AppConfig):
    """The pages."""

    name = "bittern.bench"
    label = "bench"
    verbose_name = "Bench"
