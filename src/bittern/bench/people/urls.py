"""Addresses of login and people."""

from __future__ import annotations

from django.urls import path

from bittern.bench.people import views

urlpatterns = [
    path("login/", views.Login.as_view(), name="login"),
    path("logout/", views.Logout.as_view(), name="logout"),
    path("password/", views.OwnPassword.as_view(), name="own-password"),
    path("people/", views.people, name="people"),
    path("people/<str:login>/", views.person, name="person"),
    path("people/<str:login>/access/", views.person_access, name="person-access"),
    path("people/<str:login>/password/", views.person_password, name="person-password"),
]
