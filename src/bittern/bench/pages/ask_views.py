"""Pictures of where to look, as files that a messenger takes."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from bittern.formats.where_to_look import render_where
from bittern.work.asking import CUSTOMER_QUESTIONS


@require_safe
def where_to_look(request: HttpRequest, kind: str) -> HttpResponse:
    """Return the picture for one kind of question as PNG."""
    if kind not in CUSTOMER_QUESTIONS:
        raise Http404
    # The same for every job: it names nobody.
    return HttpResponse(render_where(kind, CUSTOMER_QUESTIONS[kind].ask), content_type="image/png")
