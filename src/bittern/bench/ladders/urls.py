"""Addresses of ladders and code tables."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.ladders import table_views, views

urlpatterns: list[URLPattern] = [
    path("jobs/<int:number>/ladder/", views.ladder, name="ladder"),
    path("code-tables/", table_views.code_tables, name="code-tables"),
    path("code-tables/drop/", table_views.drop, name="code-table-drop"),
]
