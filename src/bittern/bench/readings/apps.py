"""Readings as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class ReadingsConfig(AppConfig):
    """Runs that read a key from a picture."""

    name = "bittern.bench.readings"
    label = "readings"
    verbose_name = "Readings"
