"""Login, one's own password, and the owner's page of people."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib import messages
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.views.decorators.http import require_http_methods, require_POST

from bittern.bench.errors import PersonError
from bittern.bench.people import roster
from bittern.bench.people.forms import LoginForm, PasswordForm, PersonForm, RoleForm
from bittern.bench.people.models import User, as_person

View = Callable[..., HttpResponse]


def owner_only(view: View) -> View:
    """Let owners in and nobody else."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not as_person(request.user).may("owner"):
            raise PermissionDenied("found another role, expected owner")
        return view(request, *args, **kwargs)

    return guarded


class Login(LoginView):
    """The login page."""

    authentication_form = LoginForm
    redirect_authenticated_user = True


class Logout(LogoutView):
    """End the login."""


class OwnPassword(PasswordChangeView):
    """Change one's own password."""

    success_url = reverse_lazy("own-password")

    def form_valid(self, form: Any) -> HttpResponse:
        """Say that it is done."""
        messages.success(self.request, "Your password is changed; other logins of yours have ended.")
        return super().form_valid(form)


@owner_only
@require_http_methods(["GET", "HEAD", "POST"])
def people(request: HttpRequest) -> HttpResponse:
    """List people; add one."""
    form = PersonForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        user = form.save()
        messages.success(request, f"{user.name} can log in as {user.login}.")
        return redirect("people")
    return _show(request, form, 422 if form.is_bound else 200)


@owner_only
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, login: str) -> HttpResponse:
    """Show one person; change the role."""
    user = get_object_or_404(User, login=login)
    form = RoleForm(request.POST if request.method == "POST" else None, instance=user)
    if request.method == "POST" and form.is_valid():
        return _change(
            request, user, lambda: roster.change_role(user, form.cleaned_data["role"]), "has another role"
        )
    context = {"user_shown": user, "role_form": form, "password_form": PasswordForm(user)}
    return render(request, "people/person.html", context, status=422 if form.is_bound else 200)


@owner_only
@require_POST
def person_access(request: HttpRequest, login: str) -> HttpResponse:
    """End somebody's access, or give it again."""
    user = get_object_or_404(User, login=login)
    if request.POST.get("access") == "open":
        return _change(request, user, lambda: roster.reactivate(user), "can log in again")
    return _change(request, user, lambda: roster.deactivate(user), "cannot log in any more")


@owner_only
@require_POST
def person_password(request: HttpRequest, login: str) -> HttpResponse:
    """Set somebody's password."""
    user = get_object_or_404(User, login=login)
    form = PasswordForm(user, request.POST)
    if form.is_valid():
        password = form.cleaned_data["new_password1"]
        return _change(request, user, lambda: roster.set_password(user, password), "has a new password")
    context = {"user_shown": user, "role_form": RoleForm(instance=user), "password_form": form}
    return render(request, "people/person.html", context, status=422)


def _change(request: HttpRequest, user: User, act: Callable[[], None], done: str) -> HttpResponse:
    try:
        act()
    except PersonError as error:
        messages.error(request, f"Not changed: found {error.found}, expected {error.expected}; {error.hint}.")
    else:
        messages.success(request, f"{user.name} {done}.")
    return redirect("person", login=user.login)


def _show(request: HttpRequest, form: PersonForm, status: int) -> HttpResponse:
    return render(request, "people/people.html", {"people": User.objects.all(), "form": form}, status=status)
