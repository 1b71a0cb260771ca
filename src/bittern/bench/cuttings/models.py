"""How long each cutter has cut."""

from __future__ import annotations

from django.db import models


class CutterUseRecord(models.Model):
    """What one cutter has done since somebody last looked at it."""

    cutter = models.CharField(max_length=80, primary_key=True)
    cuts = models.PositiveIntegerField(default=0)
    minutes = models.FloatField(default=0.0)
    looked_at = models.DateTimeField(null=True, blank=True)
    looked_by = models.CharField(max_length=40, blank=True)

    def __str__(self) -> str:
        return f"use of {self.cutter}"
