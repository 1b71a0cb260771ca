"""Facts of a job to and from its row: canonical JSON, and the columns that lists and searches use."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Mapping
from typing import Any

from bittern.bench.jobs.models import Job
from bittern.work.facts import JobFile

# Letters that Unicode does not take apart into a plain one and an accent.
_WHOLE_LETTERS = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"}
)
_NOT_BARE = re.compile(r"[^0-9A-Z]")


def write_canonical(value: object) -> str:
    """Return ``value`` as JSON text that is the same on every database; NaN is refused."""
    return json.dumps(value, sort_keys=True, ensure_ascii=True, allow_nan=False, separators=(",", ":"))


def write_facts(job: JobFile) -> str:
    """Return the job's facts as canonical JSON."""
    return write_canonical(job.model_dump(mode="json"))


def read_facts(text: str) -> JobFile:
    """Return the job that :func:`write_facts` wrote."""
    return JobFile.model_validate_json(text)


def fold_name(text: str) -> str:
    """Return a name with case and accents folded away, as people type it in a hurry.

    >>> fold_name(" Ødegård  ÉMILE ")
    'odegard emile'
    """
    plain = unicodedata.normalize("NFKD", text.casefold()).translate(_WHOLE_LETTERS)
    return " ".join("".join(char for char in plain if not unicodedata.combining(char)).split())


def strip_mark(text: str) -> str:
    """Return a plate or vehicle number as its bare capital letters and digits.

    >>> strip_mark("kl-07 xq")
    'KL07XQ'
    """
    return _NOT_BARE.sub("", unicodedata.normalize("NFKC", text).upper())


def strip_phone(text: str) -> str:
    """Return the digits of a telephone number."""
    return "".join(char for char in unicodedata.normalize("NFKC", text) if char in "0123456789")


def fill_columns(job: JobFile) -> dict[str, Any]:
    """Return the columns copied from the job's facts, each cut to what its column holds."""
    vehicle, key = job.vehicle, job.key
    columns: dict[str, Any] = {
        "state": job.state,
        "want": job.request.want,
        "customer": job.request.customer,
        "phone": job.request.phone,
        "plate": job.request.plate,
        "vin": vehicle.vin if vehicle else "",
        "make": vehicle.make if vehicle else "",
        "model": vehicle.model if vehicle else "",
        "year": vehicle.year if vehicle else None,
        "article": key.article if key else "",
        "opened_at": job.opened_at,
        "closed_at": job.closed_at,
    }
    columns["customer_key"] = fold_name(columns["customer"])
    columns["plate_key"] = strip_mark(columns["plate"])
    columns["vin_key"] = strip_mark(columns["vin"])
    columns["phone_key"] = strip_phone(columns["phone"])
    return _fit(columns)


def _fit(columns: Mapping[str, Any]) -> dict[str, Any]:
    fitted = {}
    for name, value in columns.items():
        if isinstance(value, str):
            # The whole text stands in the facts; a column must never refuse what those hold.
            clean = value.encode("utf-8", "replace").decode().replace("\x00", " ")
            fitted[name] = clean[: getattr(Job._meta.get_field(name), "max_length", None)]
        else:
            fitted[name] = value
    return fitted
