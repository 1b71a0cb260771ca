"""Addresses of the adapter: fragments of a job that the Pairing leg and the runner hold."""

from __future__ import annotations

from django.urls import URLPattern, path

from bittern.bench.adapter import views

urlpatterns: list[URLPattern] = [
    path("jobs/<int:number>/adapter/supply/", views.supply, name="adapter-supply"),
    path("jobs/<int:number>/adapter/number/", views.number_on_board, name="adapter-number"),
    path("jobs/<int:number>/adapter/take/", views.take_over, name="adapter-take"),
]
