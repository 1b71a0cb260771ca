"""The pages of run sheets: every sheet is listed and opens, an unknown one is said not to be there."""

from __future__ import annotations

from collections.abc import Callable
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.engines.pairing.value import find_gains, word_gain
from bittern.work.ports import Desk
from tests.conftest import Cast

pytestmark = pytest.mark.django_db
LogIn = Callable[[Any], Client]


def test_every_sheet_is_listed_and_opens(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client = log_in(cast.technician)
    page = client.get(reverse("run-sheets")).content.decode()
    for name in desk.pack.runsheets:
        address = reverse("run-sheet", args=[name])
        assert address in page
        assert client.get(address).status_code == 200


def test_an_unknown_sheet_is_not_there(cast: Cast, log_in: LogIn) -> None:
    assert log_in(cast.owner).get(reverse("run-sheet", args=["no-such-sheet"])).status_code == 404


def test_a_sheet_says_what_would_help_most(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    sheet = desk.pack.runsheets["reed-turn-spare"]
    key = next(one for one in find_gains(sheet) if one.kind == "key")
    for address in ("run-sheet", "run-sheet-edit"):
        page = log_in(cast.technician).get(reverse(address, args=[sheet.id])).content.decode()
        assert word_gain(key) in unescape(page)
