"""Blade: rules and readings in words, the bitting only after a look with a reason, cautions at the cutter."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from bittern.bench.pages.legs.blade import describe_measuring
from bittern.work.ports import Desk
from tests.bench.pages.journey import carry, find_inputs, read_words
from tests.bench.pages.walk import BITTING, act, carry_to_blade
from tests.conftest import Cast

LogIn = Callable[[Any], Client]
REASON = "Cutting for Ansel"


def do(client: Client, number: int, name: str, **data: str) -> Any:
    return client.post(reverse("act", args=[number, name]), data)


def look(client: Client, number: int, reason: str = REASON) -> Any:
    return client.post(reverse("bitting", args=[number]), {"reason": reason})


def list_looks(desk: Desk, number: int) -> list[tuple[str, object]]:
    return [(entry.person, entry.payload["reason"]) for entry in desk.store.entries(number, "seal.looked")]


def read_heights(desk: Desk, offset_mm: float = 0.01) -> dict[str, str]:
    """Return readings of the test's bitting, each a little off its depth."""
    standard = desk.pack.blades["heron-8"]
    heights = [standard.depths_mm[standard.labels.index(label)] for label in BITTING.split()]
    return {f"reading-{number}": f"{height + offset_mm:.2f}" for number, height in enumerate(heights, 1)}


# Bitting


def test_a_given_bitting_is_sealed(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    assert do(client, number, "enter-bitting", bitting=BITTING).status_code == 302
    words = read_words(client.get(f"/jobs/{number}/"))
    assert "It is sealed." in words
    assert BITTING not in words


@pytest.mark.parametrize(
    ("bitting", "cuts"),
    [
        ("1 4 1 4 2 2 1 3", "1 and 2"),
        ("2 1 3 9 2 2 1 3", "cut 4"),
        ("2 2 2 2 2 1 3 4", "1 to 5"),
        ("2 1", "2 cuts"),
    ],
)
def test_a_broken_rule_is_named_with_its_cuts(
    bitting: str, cuts: str, cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "promise")
    response = do(log_in(cast.technician), number, "enter-bitting", bitting=bitting)
    words = read_words(response)
    assert response.status_code == 422
    (field,) = find_inputs(response, name="bitting")
    assert (field["value"], field["aria-invalid"]) == (bitting, "true")
    beside = words.split("in order from the datum.")[1].split("Seal this bitting")[0]
    assert cuts in beside
    assert desk.store.load(number).blade is None


def test_a_bitting_left_as_a_draft_is_judged_when_the_page_opens(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    client.post(reverse("draft", args=[number, "enter-bitting"]), {"bitting": "2 1 3 9 2 2 1 3"})
    assert "As typed it cannot be a bitting of" in read_words(client.get(f"/jobs/{number}/"))


# Readings


def study(client: Client, number: int, target: str = "", **readings: str) -> Any:
    headers = {"HX-Target": target} if target else {}
    return client.post(reverse("study-readings", args=[number]), readings, headers=headers)


def test_readings_are_shown_cut_by_cut_before_anything_is_kept(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    response = study(log_in(cast.technician), number, sd_mm="0.02", **read_heights(desk))
    words = read_words(response)
    assert "Nothing speaks against it." in words
    assert "1 7.41 ± 0.020 2 , off by 0.01" in words
    assert desk.store.load(number).blade is None
    assert "no-store" in response["Cache-Control"]


def test_a_reading_between_two_depths_is_to_be_measured_again(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    readings = {**read_heights(desk), "reading-3": "7.10", "reading-5": ""}
    words = read_words(study(client, number, target="reading-study", **readings))
    assert "Measure this cut again. Cut 3 reads 7.10 mm, between depth" in words
    assert "Not measured. Cut 5 was not measured." in words
    assert "Do not cut by this yet." in words
    assert "Job" not in words


def test_doubtful_readings_are_kept_only_with_a_reason(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    readings = {**read_heights(desk), "sd_mm": "0.03", "reading-1": "7.58"}
    response = do(client, number, "enter-readings", **readings)
    assert response.status_code == 422
    assert [one["value"] for one in find_inputs(response, name="reading-1")] == ["7.58"]
    assert "Measure this cut again." in read_words(response)
    assert (
        do(client, number, "enter-readings", **readings, accept_because="twice the same").status_code == 302
    )
    blade = desk.store.load(number).blade
    assert blade is not None
    assert (blade.source, blade.accepted_because) == ("measured", "twice the same")


@pytest.mark.parametrize("wrong", ["abc", "1e999", "-", "7..4", "nan"])
def test_a_reading_that_is_no_length_is_named(wrong: str, cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.technician)
    response = study(client, number, **{**read_heights(desk), "reading-2": wrong})
    assert response.status_code == 200
    assert "expected the height at cut 2" in read_words(response)
    assert (
        do(client, number, "enter-readings", **{**read_heights(desk), "reading-2": wrong}).status_code == 422
    )


def test_each_kind_of_blade_says_where_to_measure(desk: Desk) -> None:
    words = {
        standard.kind + standard.sides: describe_measuring(standard) for standard in desk.pack.blades.values()
    }
    assert "above the back edge" in words["edgesingle"]
    assert "groove" in words["tracksingle"]
    assert "centre line" in words["edgemirror"]


# The look


def test_a_look_with_a_reason_shows_chart_and_list_and_leaves_a_trace(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_blade(desk)
    response = look(log_in(cast.technician), number)
    words = read_words(response)
    assert response.status_code == 200
    assert BITTING in words
    assert b"<svg" in response.content
    assert "1 3.00 2 7.40 1.00 2 6.00 1 8.00 0.40" in words.split("Cutting list")[1]
    assert "no-store" in response["Cache-Control"]
    assert list_looks(desk, number) == [("tamsin", REASON)]
    assert REASON in words


def test_without_a_reason_nothing_is_shown(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    response = look(log_in(cast.technician), number, " ")
    assert response.status_code == 422
    assert BITTING not in read_words(response)
    assert list_looks(desk, number) == []
    (field,) = find_inputs(response, name="reason")
    assert field["aria-invalid"] == "true"


def test_a_plain_visit_or_another_role_sees_nothing(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    response = log_in(cast.technician).get(reverse("bitting", args=[number]))
    assert (response.status_code, response["Location"]) == (302, f"/jobs/{number}/?leg=blade#leg-blade")
    counter = log_in(cast.counter)
    assert find_inputs(counter.get(f"/jobs/{number}/?leg=blade"), name="reason") == []
    refused = look(counter, number)
    assert refused.status_code == 403
    assert BITTING not in read_words(refused)
    assert look(log_in(None), number).status_code == 302
    assert list_looks(desk, number) == []


def test_a_look_at_what_is_not_there(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    client = log_in(cast.technician)
    assert look(client, carry(desk, "promise")).status_code == 409
    assert look(client, 4711).status_code == 404


def test_the_leg_says_beside_the_button_that_a_look_is_logged(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    response = log_in(cast.technician).get(f"/jobs/{number}/")
    assert "Each look at the bitting stands in the job's log" in read_words(response)
    assert [one["value"] for one in find_inputs(response, name="reason")] == [f"Cutting for job {number}"]


# Cut and inspection


def test_only_cutters_that_fit_are_offered_and_the_others_say_why(
    cast: Cast, log_in: LogIn, desk: Desk
) -> None:
    number = carry_to_blade(desk)
    response = log_in(cast.technician).get(f"/jobs/{number}/")
    offered = {one["value"] for one in find_inputs(response, name="cutter")}
    assert "wheel-90" in offered
    assert "wheel-100" not in offered
    words = read_words(response)
    assert "its angle 100 degrees is wider than the cut's 90" in words
    assert "Eye protection on, guard closed." in words


def test_a_cut_needs_both_ticks(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk)
    client = log_in(cast.technician)
    response = do(client, number, "record-cut", cutter="wheel-90", eyes="yes")
    assert response.status_code == 422
    assert "guard closed" in read_words(response)
    assert find_inputs(response, name="cutter", value="wheel-90")[0].keys() >= {"checked"}
    do(client, number, "record-cut", cutter="wheel-90", eyes="yes", guard="yes")
    blade = desk.store.load(number).blade
    assert blade is not None
    assert blade.cutter == "wheel-90"


def test_a_wasted_blank_leads_back_to_the_chart(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry_to_blade(desk, cut=True)
    client = log_in(cast.technician)
    assert do(client, number, "record-inspection", result="wasted").status_code == 422
    do(client, number, "record-inspection", result="wasted", note="slipped in the clamp")
    response = client.get(f"/jobs/{number}/")
    assert "Blanks wasted: 1." in read_words(response)
    assert find_inputs(response, name="cutter")


def test_a_key_without_a_blade_has_nothing_to_cut(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "vehicle")
    client = log_in(cast.technician)
    assert "Settle the Key leg first" in read_words(client.get(f"/jobs/{number}/?leg=blade"))
    article = next(one.article for one in desk.pack.articles.values() if not one.blade)
    act(desk, number, "choose-article", article=article, because="a remote alone is wanted")
    assert "This article has no blade." in read_words(client.get(f"/jobs/{number}/?leg=blade"))


def test_the_counter_cannot_touch_the_blade(cast: Cast, log_in: LogIn, desk: Desk) -> None:
    number = carry(desk, "promise")
    client = log_in(cast.counter)
    response = client.get(f"/jobs/{number}/?leg=blade")
    assert find_inputs(response, name="bitting") == []
    assert "A technician does this at the bench." in read_words(response)
    assert do(client, number, "enter-bitting", bitting=BITTING).status_code == 403
