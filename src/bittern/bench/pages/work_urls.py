"""Addresses of the work at bench and vehicle; joined to those of the other pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.pages import work_views

work_urls: list[URLPattern] = [
    path("jobs/<int:number>/bitting/", work_views.bitting, name="bitting"),
    path("jobs/<int:number>/readings/", work_views.readings, name="study-readings"),
    path("jobs/<int:number>/pairing/", work_views.runner, name="runner"),
    path("jobs/<int:number>/handover.pdf", work_views.handover_sheet, name="handover-sheet"),
]
