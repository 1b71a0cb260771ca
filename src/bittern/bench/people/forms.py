"""Forms about people."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.contrib.auth.forms import AuthenticationForm, BaseUserCreationForm, SetPasswordForm

from bittern.bench.people.models import User, normalise_login


class LoginForm(AuthenticationForm):
    """Login name and password."""

    error_messages: ClassVar[dict[str, Any]] = {
        "invalid_login": "Found a login name and password that do not belong together; expected those of an "
        "account here.",
        # The same words: whether somebody has left is nobody's business outside.
        "inactive": "Found a login name and password that do not belong together; expected those of an account "
        "here.",
    }

    def clean_username(self) -> str:
        """Return the login name as it is stored."""
        return normalise_login(self.cleaned_data["username"])


class PersonForm(BaseUserCreationForm[User]):
    """A new account."""

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


class RoleForm(forms.ModelForm[User]):
    """Another role for somebody."""

    class Meta:
        model = User
        fields = ("role",)


class PasswordForm(SetPasswordForm[User]):
    """A new password for somebody else, set by the owner."""
