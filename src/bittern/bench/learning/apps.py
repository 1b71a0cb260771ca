"""Learning as a Django application."""

from __future__ import annotations

from django.apps import AppConfig


class LearningConfig(AppConfig):
    """Lessons of finished jobs."""

    name = "bittern.bench.learning"
    label = "learning"
    verbose_name = "Learning"
