"""Addresses of what the shop has learnt."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.learning import views

urlpatterns: list[URLPattern] = [
    path("packs/learnt/", views.learnt, name="learnt"),
    path("packs/learnt/<slug:act>/change/", views.change, name="learnt-change"),
    path("packs/learnt/own-fitments.zip", views.own_fitments, name="own-fitments"),
]
