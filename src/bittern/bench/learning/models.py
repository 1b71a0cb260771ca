"""Lessons on record. A row names a job by its number, a vehicle by make, model and year, and no person."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class LessonRecord(models.Model):
    """One lesson: an article that fitted a vehicle, or that it refused."""

    job = models.PositiveIntegerField()
    day = models.DateField()
    make = models.CharField(max_length=80)
    model = models.CharField(max_length=80)
    year = models.IntegerField(null=True, blank=True)
    start = models.CharField(max_length=8, blank=True)
    article = models.CharField(max_length=80, blank=True)
    outcome = models.CharField(max_length=8)
    # What was observed, as JSON: kind, value, how, sd.
    observations = models.TextField(default="[]")
    weight = models.FloatField(default=1.0)
    kept_at = models.DateTimeField(auto_now_add=True)
    taken = models.BooleanField(default=False)
    # The note of who last took it back or restored it; 0 for nobody yet. It only ever rises.
    note = models.PositiveIntegerField(default=0)

    class Meta:
        indexes: ClassVar[list[models.Index]] = [models.Index(fields=["job"], name="learning_lesson_job")]

    def __str__(self) -> str:
        return f"lesson of job {self.job}"


class NoteRecord(models.Model):
    """Who took lessons back or restored them."""

    at = models.DateTimeField()
    person = models.CharField(max_length=150)
    act = models.CharField(max_length=16)
    what = models.CharField(max_length=240)
    count = models.PositiveIntegerField()

    def __str__(self) -> str:
        return f"{self.act}: {self.what}"
