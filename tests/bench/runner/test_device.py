"""The device's side: its clock, and how it keeps, sends and settles events. Run in node, without a page."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest

from tests.faults import copy_scripts, find_node

pytestmark = pytest.mark.skipif(
    find_node() is None, reason="needs node; the browser tests run the same script"
)
DRIVER = Path(__file__).with_name("sync_driver.mjs")


@pytest.fixture(scope="module")
def seen(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    scripts = copy_scripts(tmp_path_factory.mktemp("scripts"))
    words = [str(find_node()), str(DRIVER), str(scripts)]
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_what_the_server_has_lost_it_gets_again(seen: dict[str, Any]) -> None:
    assert seen["older copy"] == {"list": [1, 2, 3], "unsent": 0, "step": "d"}


def test_a_refusal_that_the_server_has_lost_leaves_no_gap(seen: dict[str, Any]) -> None:
    said = seen["older copy after a refusal"]
    assert (said["refused"], said["step"], said["unsent"]) == (1, "c", 0)
    assert said["sequences"] == [0, 1, 2, 3]


def test_a_refused_event_is_not_sent_again(seen: dict[str, Any]) -> None:
    assert seen["refused once"] == {"refused": 1, "unsent": 0, "step": "b", "sent": 1}


def test_a_run_begun_anew_elsewhere_ends_the_one_here(seen: dict[str, Any]) -> None:
    assert seen["begun anew"] == {"replaced": True, "refused": 1, "unsent": 0, "kept": False}


def test_another_window_does_not_act_on_an_old_view(seen: dict[str, Any]) -> None:
    assert seen["two windows"] == {"said": "elsewhere", "step": "b", "list": [1]}


def test_a_double_tap_counts_once(seen: dict[str, Any]) -> None:
    assert seen["double tap"] == {"list": [1], "kept": 1}


def test_events_of_another_person_wait_for_that_person(seen: dict[str, Any]) -> None:
    assert seen["another person"] == {"list": [], "unsent": 1, "own": 0}


def test_many_events_are_sent_in_pieces_and_in_order(seen: dict[str, Any]) -> None:
    assert seen["hundred events"] == {"list": list(range(1, 101)), "unsent": 0}


def test_a_store_that_a_killed_browser_still_holds_is_asked_for_again(seen: dict[str, Any]) -> None:
    assert seen["store let go"] == {"same": True, "asked": 3}
    assert seen["store held for good"] == {"lasting": False, "barred": True, "asked": 4}
    assert seen["no store"] == {"lasting": False, "barred": False, "asked": 1}


@pytest.mark.parametrize(
    ("scene", "since_ms", "changed_ms"),
    [
        ("an hour forward in view", 3000, 3_600_000),
        ("an hour back in view", 1000, -3_600_000),
        ("asleep while hidden", 601_010, 0),
        # No sleep turns a clock back.
        ("back while hidden", 2000, -600_000),
        # A clock that is set right by a second or two is no change to speak of.
        ("a small step", 1000, 0),
        ("reloaded without the network", 10_000, 0),
        ("changed and reloaded", 1000, 0),
        ("an answer that took two seconds", 1000, 0),
    ],
)
def test_the_clock_goes_on_as_the_servers(
    seen: dict[str, Any], scene: str, since_ms: int, changed_ms: int
) -> None:
    assert seen[scene] == [since_ms, changed_ms]
