"""The log is told in sentences; what has none is still shown whole."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern import work
from bittern.bench.pages.logbook import _SENTENCES, describe_entry
from bittern.engines.pairing.event import EVENT_KINDS
from bittern.work.chain import LogEntry

AT = datetime(2031, 3, 3, 9, 0, tzinfo=UTC)
# Where a use case names a kind of entry: change.log("…"), kind="…", EVENT = "…".
NAMED = re.compile(r"""(?:\.log\(\s*|kind=|EVENT = )"([a-z]+\.[a-z-]+)\"""")
SOURCES = sorted(Path(str(work.__file__)).parent.glob("*.py"))


def tell(kind: str, payload: dict[str, Any]) -> str:
    return describe_entry(LogEntry(1, 1, AT, "tamsin", kind, payload))


def test_every_kind_of_entry_that_the_use_cases_make_has_its_sentence() -> None:
    named = {kind for path in SOURCES for kind in NAMED.findall(path.read_text())}
    assert len(named) > 10, "the pattern no longer finds where entries are made"
    assert named <= set(_SENTENCES)


@pytest.mark.parametrize(
    ("kind", "payload", "said"),
    [
        ("request.opened", {"want": "all-lost"}, "Opened the job: a key; every key is lost."),
        (
            "key.observed",
            {"observation": "chip", "value": None, "how": "told"},
            "Asked for “Chip”: it cannot be had.",
        ),
        (
            "key.chosen",
            {"article": "A-1", "probability": 0.934, "because": ""},
            "Took article A-1 (93 % sure).",
        ),
        (
            "seal.looked",
            {"name": "bitting", "reason": "cutting"},
            "Looked at the sealed bitting, reason: cutting.",
        ),
        (
            "proof.answered",
            {"test": "start", "passed": False, "note": "no crank"},
            "Test “start” failed. no crank",
        ),
        (
            "vehicle.recorded",
            {"vin": "", "make": "Marsh", "model": "Teal", "year": 2012, "because": "plate gone"},
            "Recorded the vehicle: Marsh Teal 2012 (no number). Accepted because: plate gone.",
        ),
        (
            "pairing.ended",
            {"outcome": "unchanged", "run": 2},
            "Run 2 ended: the vehicle is as it was before.",
        ),
    ],
)
def test_an_entry_in_words(kind: str, payload: dict[str, Any], said: str) -> None:
    assert tell(kind, payload) == said


@pytest.mark.parametrize("kind", EVENT_KINDS)
def test_an_event_of_a_run_names_its_run_and_step(kind: str) -> None:
    event = {"kind": kind, "step": "wake", "to": "low", "choice": "two", "keys": [{"name": "old"}]}
    said = tell("pairing.event", {"run": 1, "event": event})
    assert said.startswith("Run 1: ")
    assert said != tell("pairing.event", {"run": 1, "event": {"kind": "unheard-of"}})


def test_an_entry_of_a_later_version_is_shown_as_it_is_stored() -> None:
    assert tell("shelf.counted", {"left_over": 3, "ok": True}) == "Shelf, counted. left over: 3; ok: yes"


@given(
    st.sampled_from([*_SENTENCES, "new.kind"]),
    st.dictionaries(
        st.text(max_size=8), st.none() | st.booleans() | st.integers() | st.text() | st.lists(st.text())
    ),
)
def test_any_payload_is_told(kind: str, payload: dict[str, Any]) -> None:
    assert tell(kind, payload)
