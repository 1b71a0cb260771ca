"""What is on record: jobs, their logs, sealed values, drafts, the shop's terms.

Texts that are digested (facts, payloads) are canonical JSON in text columns: a JSON column would reorder keys
and rewrite numbers on one database and not on the other.
"""

from __future__ import annotations

from typing import Any, ClassVar, NoReturn

from django.db import models

from bittern.bench.jobs.errors import AppendOnlyError


class Job(models.Model):
    """A job: facts as canonical JSON, copies of some to list and search by, the head of its log."""

    number = models.PositiveIntegerField(primary_key=True)
    version = models.PositiveIntegerField(default=0)
    state = models.CharField(max_length=16, default="open")
    waits_for = models.CharField(max_length=24, default="", blank=True)
    facts = models.TextField()
    facts_seal = models.CharField(max_length=64)

    want = models.CharField(max_length=16)
    customer = models.CharField(max_length=200)
    phone = models.CharField(max_length=60, blank=True)
    plate = models.CharField(max_length=40, blank=True)
    vin = models.CharField(max_length=40, blank=True)
    make = models.CharField(max_length=80, blank=True)
    model = models.CharField(max_length=80, blank=True)
    year = models.IntegerField(null=True, blank=True)
    article = models.CharField(max_length=80, blank=True)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    # As people type them when they search: folded letters, bare characters, digits alone.
    customer_key = models.CharField(max_length=400)
    plate_key = models.CharField(max_length=40, blank=True)
    vin_key = models.CharField(max_length=40, blank=True)
    phone_key = models.CharField(max_length=60, blank=True)

    # When the last entry was logged, and since when the job has waited for what it waits for.
    last_at = models.DateTimeField()
    waits_since = models.DateTimeField()

    log_count = models.PositiveIntegerField(default=0)
    log_digest = models.CharField(max_length=64)
    log_seal = models.CharField(max_length=64)

    class Meta:
        indexes: ClassVar[list[models.Index]] = [
            models.Index(fields=["state", "waits_for", "number"], name="jobs_job_today"),
            models.Index(fields=["vin_key"], name="jobs_job_vin"),
            models.Index(fields=["plate_key"], name="jobs_job_plate"),
        ]

    def __str__(self) -> str:
        return f"job {self.number}"


class LogQuerySet(models.QuerySet["LogRecord"]):
    """Reads and appends, nothing else."""

    def update(self, **kwargs: Any) -> NoReturn:
        """Refuse: the log is append-only."""
        raise AppendOnlyError("an update of log entries", "new entries only")

    def bulk_update(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: the log is append-only."""
        raise AppendOnlyError("an update of log entries", "new entries only")

    def delete(self) -> NoReturn:
        """Refuse: the log is append-only."""
        raise AppendOnlyError("a removal of log entries", "new entries only")


class LogRecord(models.Model):
    """One entry of a job's log, chained to the one before."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="entries")
    sequence = models.PositiveIntegerField()
    at = models.DateTimeField()
    person = models.CharField(max_length=40)
    kind = models.CharField(max_length=60)
    payload = models.TextField()
    digest = models.CharField(max_length=64)

    objects = LogQuerySet.as_manager()

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["job", "sequence"], name="jobs_log_once"),
        ]
        base_manager_name = "objects"

    def __str__(self) -> str:
        return f"job {self.job_id} entry {self.sequence}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Append; refuse to change an entry that stands."""
        if not self._state.adding:
            raise AppendOnlyError(f"a change of {self}", "new entries only")
        super().save(*args, **{**kwargs, "force_insert": True})

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: the log is append-only."""
        raise AppendOnlyError(f"a removal of {self}", "new entries only")


class Sealed(models.Model):
    """A secret of a job, encrypted; see ``sealing.py``."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sealed")
    name = models.CharField(max_length=40)
    nonce = models.BinaryField()
    ciphertext = models.BinaryField()

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["job", "name"], name="jobs_sealed_once"),
        ]

    def __str__(self) -> str:
        return f"job {self.job_id} {self.name}"


class Draft(models.Model):
    """What a person has typed into a form and not sent; encrypted, as it may hold a bitting."""

    # No job: the form of a new one.
    job = models.ForeignKey(Job, on_delete=models.CASCADE, null=True, blank=True, related_name="drafts")
    form = models.CharField(max_length=60)
    person = models.CharField(max_length=40)
    nonce = models.BinaryField()
    ciphertext = models.BinaryField()
    changed_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.UniqueConstraint(fields=["job", "form", "person"], name="jobs_draft_once"),
            # Null differs from null, so a draft without a job needs a rule of its own.
            models.UniqueConstraint(
                fields=["form", "person"],
                condition=models.Q(job__isnull=True),
                name="jobs_draft_once_without_job",
            ),
        ]

    def __str__(self) -> str:
        return f"draft of {self.form}"


class Counter(models.Model):
    """The last number given out; its row is locked while a number is taken."""

    name = models.CharField(max_length=20, primary_key=True)
    value = models.PositiveIntegerField(default=0)
    seal = models.CharField(max_length=64, blank=True)

    def __str__(self) -> str:
        return f"{self.name} {self.value}"


class KeyMark(models.Model):
    """A mark of each key this database was used with: another key file is noticed before it does harm."""

    name = models.CharField(max_length=20, primary_key=True)
    mark = models.CharField(max_length=64)

    def __str__(self) -> str:
        return self.name


class ShopRecord(models.Model):
    """What the shop has set, in a single row."""

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    name = models.CharField(max_length=80)
    town = models.CharField(max_length=80, blank=True)
    labour_per_hour = models.DecimalField(max_digits=10, decimal_places=2)
    tax_percent = models.DecimalField(max_digits=6, decimal_places=3)
    cutting_minutes = models.PositiveIntegerField()
    proof_minutes = models.PositiveIntegerField()
    bar = models.FloatField()
    unit = models.CharField(max_length=4)
    cutter_life_min = models.PositiveIntegerField(default=120)
    inspection_risk = models.FloatField(default=0.05)
    # What questions and mistakes cost; what is not in it is as the engine has it.
    costs = models.JSONField(default=dict, blank=True)

    class Meta:
        constraints: ClassVar[list[models.BaseConstraint]] = [
            models.CheckConstraint(condition=models.Q(id=1), name="jobs_shop_single_row"),
        ]

    def __str__(self) -> str:
        return self.name
