"""The shop's code tables, encrypted, and what was done with them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models


class CodeTableRecord(models.Model):
    """The table of one blade standard: bittings and weights under seal, no codes."""

    standard = models.CharField(max_length=80, primary_key=True)
    nonce = models.BinaryField()
    ciphertext = models.BinaryField()
    bittings = models.PositiveIntegerField()
    person = models.CharField(max_length=40)
    kept_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"code table of {self.standard}"


class TableNoteRecord(models.Model):
    """What was done with a table: kept, used for a job, dropped."""

    standard = models.CharField(max_length=80)
    kind = models.CharField(max_length=16)
    person = models.CharField(max_length=40)
    at = models.DateTimeField()
    bittings = models.PositiveIntegerField()
    job = models.PositiveIntegerField(default=0)

    class Meta:
        ordering: ClassVar[list[str]] = ["-id"]

    def __str__(self) -> str:
        return f"{self.kind} code table of {self.standard}"
