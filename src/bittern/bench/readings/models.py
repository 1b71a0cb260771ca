"""A run that reads a job's old key; what it read is sealed with the job, and nothing of it stands here."""

from __future__ import annotations

from django.db import models

from bittern.bench.jobs.models import Job

RUNNING, DONE, FAILED, CANCELLED = "running", "done", "failed", "cancelled"


class ReadingRun(models.Model):
    """The latest run of a job: how it was asked for, where it stands, how it ended."""

    job = models.OneToOneField(Job, on_delete=models.CASCADE, primary_key=True, related_name="reading_run")
    # Who began the latest run, and who began the one whose reading is sealed.
    person = models.CharField(max_length=40)
    read_by = models.CharField(max_length=40, blank=True)
    started_at = models.DateTimeField()

    # What was chosen, to be shown again when the picture was refused.
    how = models.CharField(max_length=8)
    dpi = models.CharField(max_length=12, blank=True)
    keep = models.BooleanField(default=False)

    # The mark tells one run from a later one, the beat that it is alive.
    state = models.CharField(max_length=16)
    mark = models.CharField(max_length=32, blank=True)
    word = models.CharField(max_length=120, blank=True)
    beat_at = models.DateTimeField()
    found = models.CharField(max_length=400, blank=True)
    expected = models.CharField(max_length=400, blank=True)
    hint = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"reading of job {self.job_id}: {self.state}"
