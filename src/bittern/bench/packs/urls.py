"""Addresses of Packs."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.packs import list_views, views

urlpatterns: list[URLPattern] = [
    path("packs/", views.packs, name="packs"),
    path("packs/lists/", list_views.new_list, name="new-list"),
    path("packs/lists/<int:pk>/", list_views.one_list, name="list"),
    path("packs/lists/<int:pk>/choices/", list_views.choices, name="list-choices"),
    path("packs/lists/<int:pk>/run/", list_views.run, name="list-run"),
    path("packs/lists/<int:pk>/progress/", list_views.progress, name="list-progress"),
    path("packs/lists/<int:pk>/cancel/", list_views.cancel, name="list-cancel"),
    path("packs/lists/<int:pk>/<slug:what>/", list_views.change, name="list-change"),
]
