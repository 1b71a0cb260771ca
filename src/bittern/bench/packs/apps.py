"""Packs as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class PacksConfig(AppConfig):
    """The pack in use and the lists read into it."""

    name = "bittern.bench.packs"
    label = "packs"
    verbose_name = "Packs"
