"""Run sheets of the shop's own: versions that never change, who approved them, and what is being written."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class SheetName(models.Model):
    """A sheet that the shop has: its row is what is locked while something about it changes."""

    sheet = models.CharField(max_length=80, primary_key=True)

    def __str__(self) -> str:
        return self.sheet


class SheetVersionRecord(models.Model):
    """One version of a sheet; of its columns only the approval ever changes."""

    sheet = models.CharField(max_length=80)
    number = models.PositiveIntegerField()
    text = models.TextField()
    # With the figures that people gave it; empty where it is the text.
    base_text = models.TextField(blank=True)
    person = models.CharField(max_length=40)
    at = models.DateTimeField()
    line = models.CharField(max_length=200, blank=True)
    origin = models.CharField(max_length=16)
    approved_by = models.CharField(max_length=40, blank=True)
    approved_at = models.DateTimeField(null=True, blank=True)
    # Rises with every approval of the sheet; 0 where the version is not approved.
    approval = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["sheet", "number"], name="runsheets_version_once")
        ]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["sheet", "approval"], name="runsheets_approval")
        ]

    def __str__(self) -> str:
        return f"version {self.number} of {self.sheet}"


class SheetNoteRecord(models.Model):
    """Who did what with a sheet."""

    at = models.DateTimeField()
    person = models.CharField(max_length=40)
    sheet = models.CharField(max_length=80)
    number = models.PositiveIntegerField()
    act = models.CharField(max_length=16)
    what = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes: ClassVar[list[models.Index]] = [models.Index(fields=["sheet"], name="runsheets_note_sheet")]

    def __str__(self) -> str:
        return f"{self.act}: version {self.number} of {self.sheet}"


class SheetDraftRecord(models.Model):
    """What one person is writing about one sheet: the form as typed."""

    sheet = models.CharField(max_length=80)
    person = models.CharField(max_length=40)
    # As JSON.
    document = models.TextField()
    based_on = models.PositiveIntegerField(default=0)
    # Rises with every change: a form of an earlier turn overwrites nothing.
    turn = models.PositiveIntegerField()
    at = models.DateTimeField()

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["sheet", "person"], name="runsheets_draft_once")
        ]

    def __str__(self) -> str:
        return f"draft of {self.sheet} by {self.person}"
