"""Addresses of run sheets."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.runsheets import edit_views, new_views, views

urlpatterns: list[URLPattern] = [
    path("run-sheets/", views.run_sheets, name="run-sheets"),
    path("new-run-sheet/", new_views.new_sheet, name="new-run-sheet"),
    path("import-run-sheet/", new_views.import_file, name="import-run-sheet"),
    path("run-sheets/<str:sheet>/", views.run_sheet, name="run-sheet"),
    path("run-sheets/<str:sheet>/approval/", views.approval, name="run-sheet-approval"),
    path("run-sheets/<str:sheet>/difference/", views.difference, name="run-sheet-difference"),
    path("run-sheets/<str:sheet>/edit/", edit_views.edit_sheet, name="run-sheet-edit"),
    path("run-sheets/<str:sheet>/file/", views.sheet_file, name="run-sheet-file"),
    path("run-sheets/<str:sheet>/runs/", new_views.runs, name="run-sheet-runs"),
]
