"""Jobs carried as far as a test of a page needs them."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

from bittern.engines.vehicle.number import compute_check_digit
from bittern.work import actions
from bittern.work.people import OWNER, Person
from bittern.work.ports import Desk
from bittern.work.request import open_job

ODILE = Person("odile", "Odile Marram", OWNER)
REQUEST = {"want": "spare", "customer": "Ansel Quaking", "phone": "0555 010 203", "plate": "KL-07 XQ"}
AUTHORITY: dict[str, object] = {
    "documents": ["photo-identity", "registration"],
    "holder": "Ansel Quaking",
    "caution": "yes",
}
ARTICLE = "QUI-H3"


def make_number(text: str = "1X0K2K000C1000017") -> str:
    """Return a number of the demo pack's first make with the check digit that it asks for."""
    return text[:8] + (compute_check_digit(text) or "0") + text[9:]


# What settles each leg, in order; the article is taken with a reason, below the bar.
STAGES: dict[str, tuple[tuple[str, dict[str, object]], ...]] = {
    "request": (("record-authority", AUTHORITY),),
    "vehicle": (("record-vehicle", {"vin": make_number(), "year": "2012", "start": "turn"}),),
    "key": (("choose-article", {"article": ARTICLE, "because": "the customer showed its twin"}),),
    "promise": (
        ("offer", {}),
        ("accept", {"accepted_by": "Ansel Quaking", "accepted_how": "in-person"}),
    ),
}


def carry(desk: Desk, upto: str = "", **request: str) -> int:
    """Open a job, settle its legs up to and with ``upto``, and return its number."""
    number = open_job(desk, ODILE, {**REQUEST, **request}).number
    if upto:
        for stage, acts in STAGES.items():
            for name, data in acts:
                actions.act(desk, number, ODILE, name, data)
            if stage == upto:
                break
    return number


class _Words(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []

    def handle_data(self, data: str) -> None:
        self.parts.append(data)


def read_words(response: Any) -> str:
    """Return what a person reads on the page, blanks folded."""
    words = _Words()
    words.feed(response.content.decode())
    return " ".join(" ".join(words.parts).split())


class _Inputs(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[dict[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("input", "select", "textarea", "button", "option"):
            self.found.append({"tag": tag, **{name: value or "" for name, value in attrs}})


def find_inputs(response: Any, **wanted: str) -> list[dict[str, str]]:
    """Return the attributes of each input, button and option that has all of ``wanted``."""
    inputs = _Inputs()
    inputs.feed(response.content.decode())
    return [one for one in inputs.found if wanted.items() <= one.items()]
