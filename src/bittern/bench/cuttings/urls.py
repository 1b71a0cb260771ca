"""Addresses of the cut's plan."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.cuttings import views

urlpatterns: list[URLPattern] = [
    path("jobs/<int:number>/cutting/", views.cutting, name="cutting"),
    path("jobs/<int:number>/cutting/file/", views.cutting_file, name="cutting-file"),
    path("jobs/<int:number>/cutting/cutter/", views.cutter_looked_at, name="cutter-looked-at"),
]
