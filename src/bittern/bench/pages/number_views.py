"""What a vehicle number says, while it is typed and before anything is recorded."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from bittern.bench.desk import open_desk
from bittern.bench.jobs.drafts import keep_draft
from bittern.bench.pages.entries import flatten_post
from bittern.bench.pages.legs.vehicle import ACT, build_form, decoded_fields, find_study
from bittern.bench.pages.problem import show_problem
from bittern.bench.pages.traveller import Attempt, render_job
from bittern.bench.people.models import as_person
from bittern.work.errors import NoSuchJobError


@require_http_methods(["GET", "HEAD", "POST"])
def study(request: HttpRequest, number: int) -> HttpResponse:
    """Show what the number says; only a click on a suggestion or a decode fills the form."""
    if request.method != "POST":
        return redirect("job", number)
    desk, fields = open_desk(), flatten_post(request.POST)
    suggested, use_decode = fields.pop("take", ""), fields.pop("use_decode", "")
    if photographed := fields.pop("take_photo", ""):
        fields |= {"vin": photographed, "how": "photographed"}
        suggested = photographed
    elif suggested:
        fields["vin"] = suggested
    if use_decode:
        found, _ = find_study(desk, str(fields.get("vin") or ""))
        fields |= decoded_fields(found)
    try:
        job = desk.store.load(number)
    except NoSuchJobError as error:
        return show_problem(request, error)
    if job.state == "open" and (suggested or use_decode):
        # A click types nothing, so no draft of it is on its way.
        keep_draft(number, ACT, as_person(request.user).login, fields, timezone.now())
    context = build_form(desk, fields)
    target = request.headers.get("HX-Target")
    if target:
        part = "parts/number_study.html" if target == "number-study" else "parts/vehicle_form.html"
        return render(request, part, {"job": job, "typed": {ACT: fields}, **context})
    attempt = Attempt(ACT, "vehicle", fields, context=context, status=200)
    return render_job(request, desk, job, attempt=attempt)
