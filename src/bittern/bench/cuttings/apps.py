"""Cutting as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class CuttingsConfig(AppConfig):
    """The plan of a cut, and the use of cutters."""

    name = "bittern.bench.cuttings"
    label = "cuttings"
    verbose_name = "Cutting"
