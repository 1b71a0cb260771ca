"""Rehearsals as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class RehearsalsConfig(AppConfig):
    """Run sheets done against a simulated vehicle."""

    name = "bittern.bench.rehearsals"
    label = "rehearsals"
    verbose_name = "Rehearsal"
