"""Forms about people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib.auth import authenticate
from django.contrib.auth.forms import (
    AuthenticationForm,
    BaseUserCreationForm,
    PasswordChangeForm,
    SetPasswordForm,
)
from django.http import HttpRequest

from bittern.bench.people.models import LOGIN_RULE, ROLE_WORDS, User, normalise_login
from bittern.bench.templatetags.bench import name_field
from bittern.work.people import ROLES, TECHNICIAN

if TYPE_CHECKING:
    CreationForm = BaseUserCreationForm[User]
    UserForm = forms.ModelForm[User]
    NewPasswordForm = SetPasswordForm[User]
    OwnPasswordForm = PasswordChangeForm
else:
    # Generic to the type checker only.
    CreationForm, UserForm = BaseUserCreationForm, forms.ModelForm
    NewPasswordForm, OwnPasswordForm = SetPasswordForm, PasswordChangeForm

# The same words for all: who works here, or has left, is nobody's business outside.
_WORDS = "Found a login name and password that do not belong together; expected those of an account here."
WRONG: Any = {"invalid_login": _WORDS, "inactive": _WORDS}
MISMATCH: Any = {"password_mismatch": "Found two different passwords; expected the same twice."}
ROLE_CHOICES = [(role, ROLE_WORDS[role]) for role in ROLES]
CHOOSING_RULE = "At least 10 characters, no name, nothing that many people use. Four plain words do well."
LOGIN_HELP = f"{LOGIN_RULE[0].upper()}{LOGIN_RULE[1:]}. It stands in every log and is never given to another."
# Labels by field, for the list of what is wrong.
_FIELD_WORDS = {
    "username": "Login name",
    "login": "Login name",
    "name": "Name on papers",
    "role": "Role",
    "password": "Password",
    "old_password": "Present password",
    "password1": "Password",
    "new_password1": "New password",
    "password2": "Password again",
    "new_password2": "New password again",
    "sure": "The tick",
}
# What an empty field lacks.
_EMPTY = {
    "login": "a login name",
    "username": "your login name",
    "name": "the name that stands on papers",
    "role": "one of the roles",
    "password": "your password",
    "old_password": "your present password",
    "password1": "a password",
    "new_password1": "a password",
    "password2": "the same password again",
    "new_password2": "the same password again",
}


class _SaysWhatIsMissing(forms.BaseForm):
    """Says of an empty field what was expected there."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if name in _EMPTY:
                field.error_messages["required"] = f"Found nothing; expected {_EMPTY[name]}."


class LoginForm(_SaysWhatIsMissing, AuthenticationForm):
    """Login name and password."""

    error_messages = WRONG

    def clean_username(self) -> str:
        """Return the login name as it is stored."""
        return normalise_login(self.cleaned_data["username"])


class PersonForm(_SaysWhatIsMissing, CreationForm):
    """A new account."""

    error_messages = MISMATCH
    role = forms.ChoiceField(choices=ROLE_CHOICES, initial=TECHNICIAN)

    class Meta:
        model = User
        fields = ("login", "name", "role")

    def clean_login(self) -> str:
        """Return the login name as it is stored."""
        return normalise_login(self.cleaned_data["login"])


class RoleForm(_SaysWhatIsMissing, UserForm):
    """Another role for somebody."""

    role = forms.ChoiceField(choices=ROLE_CHOICES)

    class Meta:
        model = User
        fields = ("role",)


class PasswordForm(_SaysWhatIsMissing, NewPasswordForm):
    """A new password for somebody else, set by the owner with a second, deliberate act."""

    error_messages = MISMATCH
    sure = forms.BooleanField(
        error_messages={"required": "Found not ticked; expected a tick: the old password stops working."}
    )


class OwnForm(_SaysWhatIsMissing, OwnPasswordForm):
    """A new password of one's own."""

    error_messages: Any = {
        **MISMATCH,
        "password_incorrect": "Found another password; expected the one you log in with.",
    }

    def __init__(self, *args: Any, request: HttpRequest | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_old_password(self) -> str:
        """Return the present password; a wrong one counts towards the lock, as at the login page."""
        password: str = self.cleaned_data["old_password"]
        if authenticate(self.request, username=self.user.get_username(), password=password) is None:
            raise forms.ValidationError(self.error_messages["password_incorrect"], code="password_incorrect")
        return password


class EndForm(forms.Form):
    """The end of somebody's access, with a second, deliberate act."""

    sure = forms.BooleanField(
        error_messages={"required": "Found not ticked; expected a tick: this person is shut out."}
    )


def describe_form(form: forms.BaseForm, act: str) -> dict[str, Any]:
    """Return what the field partials need to show ``form`` again, never a password."""
    if not form.is_bound:
        return {}
    errors = {name: " ".join(map(str, found)) for name, found in form.errors.items() if name != "__all__"}
    return {
        "failed_act": act,
        "errors": errors,
        "wrong": [
            {"word": _FIELD_WORDS.get(name, name), "target": name_field(act, name), "sentence": sentence}
            for name, sentence in errors.items()
        ],
        "typed": {
            act: {name: value for name, value in form.data.items() if "password" not in name},
        },
    }
