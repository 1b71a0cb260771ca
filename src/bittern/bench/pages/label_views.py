"""Reading a label from a photo: the picture is shown with what was read, and a person takes what is right."""

from __future__ import annotations

import base64
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_http_methods

from bittern.bench.desk import open_desk
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.fieldwords import list_sentences
from bittern.bench.pages.label_page import (
    LEGS,
    SHOWN_PX,
    PhotoResult,
    build_result,
    name_missing,
    say_trouble,
    shrink_for_reading,
)
from bittern.bench.pages.label_upload import FIELD, PictureUpload
from bittern.bench.pages.problem import describe_problem, show_problem
from bittern.bench.pages.traveller import Attempt, keep_nowhere, let_show_picture, render_job
from bittern.bench.people.models import as_person
from bittern.core.errors import BitternError
from bittern.work.errors import ClosedError, FieldsError
from bittern.work.facts import JobFile
from bittern.work.people import Person, require
from bittern.work.pictures import keep_picture, list_pictures, look_at_picture, remove_picture
from bittern.work.ports import Desk

ACT, LOOK, REMOVE = "read-photo", "look-picture", "remove-picture"
RESULT = "photo-result"


# The token stands in the form that carries the picture: it is read only once it is known who asks.
@csrf_exempt
@require_http_methods(["GET", "HEAD", "POST"])
def read_photo(request: HttpRequest, number: int) -> HttpResponse:
    """Read a picture and show what stands on it; a plain visit lists the pictures kept with the job."""
    person = as_person(request.user)
    try:
        require(person, "counter")
        desk = open_desk()
        job = desk.store.load(number)
        if request.method == "POST" and job.state != "open":
            raise ClosedError(f"job {number} {job.state}", "an open job", where=f"job {number}")
    except BitternError as error:
        return show_problem(request, error)
    if request.method != "POST":
        return _show_kept(request, desk, job)
    handler = PictureUpload(request)
    request.upload_handlers = [handler]
    return _answer(request, desk, job, handler)


@csrf_protect
def _answer(request: HttpRequest, desk: Desk, job: JobFile, handler: PictureUpload) -> HttpResponse:
    leg = str(request.POST.get("leg") or "")
    leg = leg if leg in LEGS else "vehicle"
    keep = request.POST.get("keep") == "yes"
    photo = _read(request, desk, job, handler, leg, keep=keep)
    status = 422 if photo.error else 200
    if request.headers.get("HX-Target") == RESULT:
        # A fragment with a mistake in it is shown too: the page swaps what is answered with 200 alone.
        return keep_nowhere(render(request, "parts/label_result.html", {"job": job, "photo": photo}))
    attempt = Attempt(ACT, leg, {}, context={"photo": photo}, status=status)
    return keep_nowhere(render_job(request, desk, desk.store.load(job.number), attempt=attempt))


def _read(
    request: HttpRequest, desk: Desk, job: JobFile, handler: PictureUpload, leg: str, *, keep: bool
) -> PhotoResult:
    """Return what was read on the picture that came, or what was wrong with it."""
    # Late: numbers, pictures and models take a second to load, and most pages need none of them.
    from bittern.formats.images import decode_picture, encode_picture, shrink_picture
    from bittern.work.label import read_label

    upload: Any = request.FILES.get(FIELD)
    try:
        if upload is None or not upload.size:
            raise name_missing(too_large=handler.too_large)
        pixels = shrink_for_reading(decode_picture(upload.read(), "the picture"))
        reading = read_label(pixels, desk.pack)
        name = ""
        if keep:
            jpeg = encode_picture(shrink_picture(pixels, SHOWN_PX))
            name = keep_picture(desk, job.number, as_person(request.user), jpeg, leg)
    except FieldsError as error:
        return PhotoResult(leg, error=" ".join(list_sentences(error).values()))
    except BitternError as error:
        return PhotoResult(leg, error=say_trouble(error))
    return build_result(leg, pixels, reading, name)


@require_http_methods(["GET", "HEAD", "POST"])
def kept_picture(request: HttpRequest, number: int) -> HttpResponse:
    """Show a kept picture after a look that is on record; a plain visit is asked why first."""
    if request.method != "POST":
        return redirect("read-photo", number)
    desk, person, typed = open_desk(), as_person(request.user), flatten_post(request.POST)
    act = REMOVE if typed.get("do") == REMOVE else LOOK
    try:
        if act == REMOVE:
            remove_picture(desk, number, person, typed)
            return redirect("read-photo", number)
        name, reason = str(typed.get("name") or ""), str(typed.get("reason") or "")
        jpeg = look_at_picture(desk, number, person, name, reason)
    except FieldsError as error:
        return _show_kept(request, desk, desk.store.load(number), typed, error, act=act)
    except BitternError as error:
        return show_problem(request, error)
    address = "data:image/jpeg;base64," + base64.b64encode(jpeg).decode()
    context: dict[str, object] = {"shown": name, "address": address}
    return let_show_picture(_show_kept(request, desk, desk.store.load(number), context=context))


def _show_kept(
    request: HttpRequest,
    desk: Desk,
    job: JobFile,
    typed: dict[str, object] | None = None,
    error: FieldsError | None = None,
    context: dict[str, object] | None = None,
    act: str = "",
) -> HttpResponse:
    person: Person = as_person(request.user)
    page: dict[str, object] = {
        "job": job,
        "kept": list_pictures(desk, job.number),
        "may_look": person.may("look"),
        **(context or {}),
    }
    if error is not None:
        page |= {"failed_act": act, "errors": list_sentences(error), "typed": {act: typed or {}}}
    status = describe_problem(error).status if error else 200
    return keep_nowhere(render(request, "pages/photos.html", page, status=status))
