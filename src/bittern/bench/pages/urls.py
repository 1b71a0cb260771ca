"""Addresses of the pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.pages import (
    ask_views,
    blade_views,
    inspection_views,
    job_views,
    label_views,
    listing,
    number_views,
    runner_sync,
    shop_views,
    work_views,
)

urlpatterns: list[URLPattern] = [
    path("", listing.today, name="today"),
    path("search", listing.search, name="search"),
    path("shop/", shop_views.shop, name="shop"),
    path("where-to-look/<slug:kind>.png", ask_views.where_to_look, name="where-to-look"),
    path("measuring-card/<slug:paper>.pdf", blade_views.measuring_card, name="measuring-card"),
    path("jobs/new/", job_views.new_job, name="new-job"),
    path("jobs/new/draft/", job_views.new_draft, name="new-draft"),
    path("jobs/<int:number>/", job_views.job, name="job"),
    path("jobs/<int:number>/do/<slug:name>/", job_views.act, name="act"),
    path("jobs/<int:number>/draft/<slug:name>/", job_views.draft, name="draft"),
    path("jobs/<int:number>/log/", job_views.job_log, name="job-log"),
    path("jobs/<int:number>/number/", number_views.study, name="study-number"),
    path("jobs/<int:number>/photo/", label_views.read_photo, name="read-photo"),
    path("jobs/<int:number>/picture/", label_views.kept_picture, name="kept-picture"),
    path("jobs/<int:number>/blade-picture/", blade_views.blade_picture, name="blade-picture"),
    path("jobs/<int:number>/blade-reading/", blade_views.blade_reading, name="blade-reading"),
    path("jobs/<int:number>/inspection/", inspection_views.inspection, name="inspection"),
    path("jobs/<int:number>/bitting/", work_views.bitting, name="bitting"),
    path("jobs/<int:number>/readings/", work_views.readings, name="study-readings"),
    path("jobs/<int:number>/pairing/", work_views.runner, name="runner"),
    path("jobs/<int:number>/pairing/run/", runner_sync.run_data, name="runner-data"),
    path("jobs/<int:number>/pairing/events/", runner_sync.events, name="runner-events"),
    path("jobs/<int:number>/pairing/kept/", runner_sync.shell, name="runner-shell"),
    path("jobs/<int:number>/pairing/worker.js", runner_sync.worker, name="runner-worker"),
    path("jobs/<int:number>/handover.pdf", work_views.handover_sheet, name="handover-sheet"),
]
