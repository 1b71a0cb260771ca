"""Addresses of Packs."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.packs import views

urlpatterns: list[URLPattern] = [
    path("packs/", views.packs, name="packs"),
]
