"""Views of the work at bench and vehicle: the handover sheet."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from bittern.bench.desk import open_desk
from bittern.bench.pages.problem import show_problem
from bittern.core.errors import BitternError
from bittern.formats.handover_pdf import render_handover
from bittern.work.handover import compose_sheet

# What speaks of a customer or of a blade stays on the screen: no cache, shared or not, keeps it.
UNKEPT = {"Cache-Control": "private, no-store"}


@require_safe
def handover_sheet(request: HttpRequest, number: int) -> HttpResponse:
    """Show the handover sheet as PDF."""
    desk = open_desk()
    try:
        sheet = compose_sheet(desk.store.load(number), desk.terms, timezone.get_current_timezone())
    except BitternError as error:
        return show_problem(request, error)
    headers = {"Content-Disposition": f'inline; filename="handover-{number}.pdf"', **UNKEPT}
    return HttpResponse(render_handover(sheet), content_type="application/pdf", headers=headers)
