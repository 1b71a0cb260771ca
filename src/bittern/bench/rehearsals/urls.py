"""Addresses of rehearsals."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.rehearsals import views

urlpatterns: list[URLPattern] = [
    path("rehearsals/", views.rehearsals, name="rehearsals"),
    path("rehearsals/<int:number>/", views.rehearsal, name="rehearsal"),
    path("rehearsals/<int:number>/vehicle/", views.rehearsal_deed, name="rehearsal-deed"),
    path("rehearsals/<int:number>/again/", views.rehearsal_again, name="rehearsal-again"),
]
