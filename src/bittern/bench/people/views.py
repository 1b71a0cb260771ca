"""Login, one's own password, and the owner's page of people."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.views import LoginView, LogoutView, PasswordChangeView
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.views.decorators.http import require_http_methods, require_POST

from bittern.bench.errors import PersonError
from bittern.bench.pages.problem import Problem, describe_problem
from bittern.bench.people import roster
from bittern.bench.people.forms import (
    CHOOSING_RULE,
    LOGIN_HELP,
    ROLE_CHOICES,
    EndForm,
    LoginForm,
    OwnForm,
    PasswordForm,
    PersonForm,
    RoleForm,
    describe_form,
)
from bittern.bench.people.lockout import unlock
from bittern.bench.people.models import ROLE_WORDS, User, as_person
from bittern.work.people import TECHNICIAN

View = Callable[..., HttpResponse]
# Names of the forms, as the field partials know them.
LOG_IN, OWN, ADD, ROLE, PASSWORD, END = (
    "log-in",
    "own-password",
    "add-person",
    "change-role",
    "set-password",
    "end-access",
)


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

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the field partials need, and the sentence for a pair that does not belong together."""
        context = super().get_context_data(**kwargs)
        form = context["form"]
        context |= describe_form(form, LOG_IN)
        if form.is_bound and (wrong := form.non_field_errors()):
            minutes = int(settings.AXES_COOLOFF_TIME.total_seconds() // 60)
            most = settings.AXES_FAILURE_LIMIT
            hint = f"After {most} wrong passwords the name is locked for {minutes} minutes."
            context["problem"] = Problem(200, "Not logged in", str(wrong[0]), hint)
        return context


class Logout(LogoutView):
    """End the login."""


class OwnPassword(PasswordChangeView):
    """Change one's own password."""

    form_class = OwnForm
    success_url = reverse_lazy("own-password")

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        """Add what the field partials need."""
        context = super().get_context_data(**kwargs)
        return context | describe_form(context["form"], OWN) | {"choosing_rule": CHOOSING_RULE}

    def get_form_kwargs(self) -> dict[str, Any]:
        """Add the request, by which wrong passwords are counted."""
        return super().get_form_kwargs() | {"request": self.request}

    def form_valid(self, form: Any) -> HttpResponse:
        """Say that it is done, and forget wrong passwords before it."""
        unlock(as_person(self.request.user).login)
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
    context = {
        "people": [(one, ROLE_WORDS[one.role]) for one in User.objects.all()],
        "form": form,
        "roles": ROLE_CHOICES,
        "initial": {ADD: {"role": TECHNICIAN}},
        "login_help": LOGIN_HELP,
        "choosing_rule": CHOOSING_RULE,
        **describe_form(form, ADD),
    }
    return render(request, "people/people.html", context, status=422 if form.is_bound else 200)


@owner_only
@require_http_methods(["GET", "HEAD", "POST"])
def person(request: HttpRequest, login: str) -> HttpResponse:
    """Show one person; change the role."""
    user = get_object_or_404(User, login=login)
    if request.method != "POST":
        return _show_person(request, user)
    form = RoleForm(request.POST, instance=user)
    if not form.is_valid():
        return _show_person(request, user, describe_form(form, ROLE), status=422)
    role = form.cleaned_data["role"]
    return _change(request, user, lambda: roster.change_role(user, role), "has another role")


@owner_only
@require_POST
def person_access(request: HttpRequest, login: str) -> HttpResponse:
    """End somebody's access after a second act, or give it again."""
    user = get_object_or_404(User, login=login)
    if request.POST.get("access") == "open":
        return _change(request, user, lambda: roster.reactivate(user), "can log in again")
    form = EndForm(request.POST)
    if not form.is_valid():
        return _show_person(request, user, describe_form(form, END), status=422)
    return _change(request, user, lambda: roster.deactivate(user), "cannot log in any more")


@owner_only
@require_POST
def person_password(request: HttpRequest, login: str) -> HttpResponse:
    """Set somebody's password after a second act."""
    user = get_object_or_404(User, login=login)
    form = PasswordForm(user, request.POST)
    if not form.is_valid():
        return _show_person(request, user, describe_form(form, PASSWORD), status=422)
    password = form.cleaned_data["new_password1"]
    return _change(request, user, lambda: roster.set_password(user, password), "has a new password")


def _change(request: HttpRequest, user: User, act: Callable[[], None], done: str) -> HttpResponse:
    try:
        act()
    except PersonError as error:
        problem = describe_problem(error)
        return _show_person(request, user, {"problem": problem}, status=problem.status)
    messages.success(request, f"{user.name} {done}.")
    return redirect("person", login=user.login)


def _show_person(
    request: HttpRequest, user: User, more: dict[str, Any] | None = None, *, status: int = 200
) -> HttpResponse:
    # A form may have put what was sent into the account; the page shows what is on record.
    user.refresh_from_db()
    context = {
        "user_shown": user,
        "role_word": ROLE_WORDS[user.role],
        "roles": ROLE_CHOICES,
        "initial": {ROLE: {"role": user.role}},
        "is_own": user.login == as_person(request.user).login,
        "choosing_rule": CHOOSING_RULE,
        **(more or {}),
    }
    return render(request, "people/person.html", context, status=status)
