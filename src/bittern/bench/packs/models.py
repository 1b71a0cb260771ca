"""Suppliers' lists: the file as it came, what was chosen about it, the layer that was made of it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

DRAFT, ACTIVE, UNDONE, DISCARDED = "draft", "active", "undone", "discarded"
IDLE, RUNNING, DONE, FAILED, CANCELLED = "", "running", "done", "failed", "cancelled"
FILE, LAYER = "file", "layer"


class SuppliersList(models.Model):
    """One list. ``active``: its layer lies over the pack, in order of ``place``."""

    name = models.CharField(max_length=200)
    size = models.PositiveIntegerField()
    person = models.CharField(max_length=40)
    uploaded_at = models.DateTimeField()
    state = models.CharField(max_length=16, default=DRAFT)
    place = models.PositiveIntegerField(default=0)

    # JSON: the first rows, what a person has chosen, and what the last check or the import found.
    sample = models.TextField(blank=True)
    choices = models.TextField(blank=True)
    report = models.TextField(blank=True)

    # Work under way: its mark tells one run from a later one, its beat that it is alive.
    run_kind = models.CharField(max_length=16, blank=True)
    run_state = models.CharField(max_length=16, blank=True)
    run_mark = models.CharField(max_length=32, blank=True)
    run_word = models.CharField(max_length=200, blank=True)
    run_problem = models.TextField(blank=True)
    run_person = models.CharField(max_length=40, blank=True)
    beat_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["state", "place"], name="packs_list_in_order"),
        ]

    def __str__(self) -> str:
        return f"list {self.pk} ({self.name})"


class ListPart(models.Model):
    """A piece of a list's file or of its layer, compressed."""

    list = models.ForeignKey(SuppliersList, on_delete=models.CASCADE, related_name="parts")
    role = models.CharField(max_length=8)
    place = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["list", "role", "place"], name="packs_part_once"),
        ]

    def __str__(self) -> str:
        return f"{self.role} {self.place} of list {self.list_id}"


class ListEvent(models.Model):
    """What was done with a list, by whom and when."""

    list = models.ForeignKey(SuppliersList, on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField()
    person = models.CharField(max_length=40)
    kind = models.CharField(max_length=16)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar[list[str]] = ["id"]

    def __str__(self) -> str:
        return f"{self.kind} list {self.list_id}"
