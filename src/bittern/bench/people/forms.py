"""Forms about people."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, BaseUserCreationForm, SetPasswordForm

from bittern.bench.people.models import ROLE_WORDS, User, normalise_login
from bittern.work.people import ROLES, TECHNICIAN

if TYPE_CHECKING:
    CreationForm = BaseUserCreationForm[User]
    UserForm = forms.ModelForm[User]
    NewPasswordForm = SetPasswordForm[User]
else:
    # Generic to the type checker only.
    CreationForm, UserForm, NewPasswordForm = BaseUserCreationForm, forms.ModelForm, SetPasswordForm

# The same words for all: who works here, or has left, is nobody's business outside.
_WORDS = "Found a login name and password that do not belong together; expected those of an account here."
WRONG: Any = {"invalid_login": _WORDS, "inactive": _WORDS}
ROLE_CHOICES = [(role, ROLE_WORDS[role]) for role in ROLES]


class LoginForm(AuthenticationForm):
    """Login name and password."""

    error_messages = WRONG

    def clean_username(self) -> str:
        """Return the login name as it is stored."""
        return normalise_login(self.cleaned_data["username"])


class PersonForm(CreationForm):
    """A new account."""

    role = forms.ChoiceField(choices=ROLE_CHOICES, initial=TECHNICIAN)

    class Meta:
        model = User
        fields = ("login", "name", "role")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["login"].widget.attrs.update(
            autocapitalize="none", autocomplete="off", spellcheck="false"
        )

    def clean_login(self) -> str:
        """Return the login name as it is stored."""
        return normalise_login(self.cleaned_data["login"])


class RoleForm(UserForm):
    """Another role for somebody."""

    role = forms.ChoiceField(choices=ROLE_CHOICES)

    class Meta:
        model = User
        fields = ("role",)


class PasswordForm(NewPasswordForm):
    """A new password for somebody else, set by the owner."""
