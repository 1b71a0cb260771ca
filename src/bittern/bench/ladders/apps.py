"""Ladders as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class LaddersConfig(AppConfig):
    """Ladders and the shop's code tables."""

    name = "bittern.bench.ladders"
    label = "ladders"
    verbose_name = "Ladders"
