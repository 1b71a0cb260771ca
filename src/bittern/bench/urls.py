"""Addresses of the bench."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("bittern.bench.people.urls")),
    path("", include("bittern.bench.packs.urls")),
    path("", include("bittern.bench.learning.urls")),
    path("", include("bittern.bench.ladders.urls")),
    path("", include("bittern.bench.cuttings.urls")),
    path("", include("bittern.bench.rehearsals.urls")),
    path("", include("bittern.bench.runsheets.urls")),
    path("", include("bittern.bench.adapter.urls")),
    path("", include("bittern.bench.pages.urls")),
]
