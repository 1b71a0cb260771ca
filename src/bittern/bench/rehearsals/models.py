"""Rehearsals on record: their own tables, with no way to a job."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class RehearsalRecord(models.Model):
    """One run sheet done against a simulated vehicle: all that happened, and what came of it."""

    person = models.CharField(max_length=40)
    # Its place in the course, 1 to 8; 0 for a rehearsal of one's own choice.
    place = models.PositiveSmallIntegerField(default=0)
    title = models.CharField(max_length=200)
    family = models.CharField(max_length=80)
    sheet = models.CharField(max_length=80)
    # The sheet as it was when the rehearsal began.
    sheet_text = models.TextField()
    seed = models.PositiveBigIntegerField()
    # As JSON: faults, the vehicle's hidden state, the run's events, each deed's signs.
    faults = models.TextField(default="[]")
    vehicle = models.TextField(default="{}")
    events = models.TextField(default="[]")
    shown = models.TextField(default="[]")
    begun_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    # Empty until it has ended: the points of 100, whether it counts as a success, the reasons as JSON.
    points = models.PositiveSmallIntegerField(null=True, blank=True)
    success = models.BooleanField(null=True, blank=True)
    reasons = models.TextField(default="[]")
    version = models.PositiveIntegerField(default=0)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["person", "ended_at"], name="rehearsals_person_ended")
        ]

    def __str__(self) -> str:
        return f"rehearsal {self.pk} of {self.person}"
