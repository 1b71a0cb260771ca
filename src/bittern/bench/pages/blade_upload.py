"""Taking the picture of a key: one at a time, in memory; scans are larger than photos."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse

from bittern.bench.desk import open_desk
from bittern.bench.pages.label_upload import PictureUpload
from bittern.bench.pages.problem import show_problem
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError, InputError
from bittern.formats.images import FILE_LIMIT_BYTES
from bittern.work.errors import field_fault
from bittern.work.facts import JobFile
from bittern.work.people import require
from bittern.work.ports import Desk

FIELD = "picture"


class KeyUpload(PictureUpload):
    """Keep one picture in memory and on no disk, up to what is read of a file at all."""

    limit_bytes = FILE_LIMIT_BYTES


Next = Callable[[HttpRequest, Desk, JobFile, KeyUpload], HttpResponse]


def receive(request: HttpRequest, number: int, go_on: Next) -> HttpResponse:
    """Let those at the bench send one picture for a job; ``go_on`` checks the token, then reads the form."""
    try:
        require(as_person(request.user), "bench")
        desk = open_desk()
        job = desk.store.load(number)
    except BitternError as error:
        return show_problem(request, error)
    handler = KeyUpload(request)
    request.upload_handlers = [handler]
    return go_on(request, desk, job, handler)


def take_picture(request: HttpRequest, handler: KeyUpload) -> bytes:
    """Return the picture that came; raises FieldsError for none, or one that is too large."""
    upload: Any = request.FILES.get(FIELD)
    if upload is None or not upload.size:
        missing = name_missing(too_large=handler.too_large)
        raise field_fault(FIELD, missing.found, missing.expected)
    return bytes(upload.read())


def name_missing(*, too_large: bool) -> InputError:
    """Return the error for a picture that did not come."""
    if too_large:
        return InputError(
            f"a file of more than {FILE_LIMIT_BYTES:,} bytes",
            "at most that",
            where=FIELD,
            hint="scan the key alone, not the whole glass",
        )
    return InputError("no picture", "a scan or a photo of the old key", where=FIELD)
