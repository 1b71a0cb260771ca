"""Run sheets as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class RunSheetsConfig(AppConfig):
    """Run sheets of the shop's own, written and approved here."""

    name = "bittern.bench.runsheets"
    label = "runsheets"
    verbose_name = "Run sheets"
