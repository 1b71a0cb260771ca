"""Addresses of run sheets."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.runsheets import views

urlpatterns: list[URLPattern] = [
    path("run-sheets/", views.run_sheets, name="run-sheets"),
    path("run-sheets/<str:sheet>/", views.run_sheet, name="run-sheet"),
]
