"""The device that carries a run. Not on record as a fact: it says who was heard last, and may be lost."""

from __future__ import annotations

from django.db import models


class Carrier(models.Model):
    """Who carries a run, on which device, and when it was heard last."""

    run = models.CharField(max_length=60, primary_key=True)
    device = models.CharField(max_length=64)
    word = models.CharField(max_length=12)
    login = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    since = models.DateTimeField()
    heard_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.run}: {self.word} of {self.login}"
