"""The pages of a cut's plan: the choice without the seal, the plan after a look on record, its files."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from bittern.bench.cuttings.page import build_opened
from bittern.bench.cuttings.store import DjangoUses
from bittern.demo import PACK_DIR
from bittern.engines.blade.bitting import Bitting, parse_bitting
from bittern.engines.cutting.fitting import fits_standard
from bittern.engines.cutting.machine import Machine
from bittern.formats.packs import read_pack
from bittern.formats.program_reader import read_program
from bittern.work.blade import look_at_bitting
from bittern.work.cutting import Wish, prove_program
from bittern.work.cutting_plan import build_plan
from bittern.work.ports import Desk
from tests.bench.pages.journey import ODILE, find_inputs, read_words
from tests.bench.pages.walk import BITTING, act, carry_to_blade
from tests.conftest import Cast

pytestmark = pytest.mark.django_db

LogIn = Callable[[Any], Client]
PACK = read_pack(PACK_DIR)
CHOICE = {"cutter": "wheel-90", "material": "brass", "milling": "climb", "reason": "to cut it"}
OTHER_BITTING = "3 1 3 4 2 2 1 3"
TICKS = dict.fromkeys(("eyes", "guard", "clothes", "held"), "yes")


def see_plan(client: Client, number: int, **choice: str) -> dict[str, str]:
    """Return the fields that the plan's page sends for a file."""
    page = client.post(address("cutting", number), {**CHOICE, **choice})
    seen = find_inputs(page, name="planned_for")
    assert len({one["value"] for one in seen}) == 1
    return {**CHOICE, **choice, "planned_for": str(seen[0]["value"])}


@pytest.fixture
def number(desk: Desk) -> int:
    return carry_to_blade(desk)


@pytest.fixture
def client(cast: Cast, log_in: LogIn) -> Client:
    return log_in(cast.technician)


def address(name: str, number: int) -> str:
    return reverse(name, args=[number])


def read_log(desk: Desk, number: int) -> list[tuple[str, Any]]:
    return [(entry.kind, entry.payload) for entry in desk.store.entries(number)]


def test_the_choice_shows_fitting_cutters_and_no_bitting(client: Client, number: int) -> None:
    page = client.get(address("cutting", number))
    assert page.status_code == 200
    assert {one["value"] for one in find_inputs(page, name="cutter")} >= {"wheel-90", "endmill-20"}
    assert BITTING not in read_words(page)
    assert page["Cache-Control"] == "private, no-store"


def test_the_plan_opens_with_a_reason_that_is_logged_first(client: Client, number: int, desk: Desk) -> None:
    refused = client.post(address("cutting", number), {**CHOICE, "reason": " "})
    assert refused.status_code == 422
    assert "seal.looked" not in [kind for kind, _ in read_log(desk, number)]
    page = client.post(address("cutting", number), CHOICE)
    assert page.status_code == 200
    assert page["Cache-Control"] == "private, no-store"
    words = read_words(page)
    assert "Proven before metal" in words
    assert "Spindle" in words
    assert read_log(desk, number)[-1] == ("seal.looked", {"name": "bitting", "reason": "to cut it"})


def test_the_film_of_the_page_ends_with_the_ideal_outline(client: Client, number: int) -> None:
    page = client.post(address("cutting", number), CHOICE).content.decode()
    film = json.loads(re.search(r'<script id="film-key"[^>]*>(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    low = list(film["low"])
    for moment in film["moments"]:
        for key, first, values in moment["changes"]:
            if key == "low":
                low[first : first + len(values)] = values
    assert max(abs(left - ideal) for left, ideal in zip(low, film["ideal"], strict=True)) < 0.002
    solid = json.loads(re.search(r'<script id="solid-data"[^>]*>(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    assert len(solid["triangles"]) % 3 == 0
    assert max(solid["triangles"]) < len(solid["corners"]) // 3


def test_a_program_needs_every_tick_and_then_makes_the_key(client: Client, number: int, desk: Desk) -> None:
    fields = {**see_plan(client, number), "kind": "program", "set_up": ""}
    for missing in TICKS:
        some = {name: value for name, value in TICKS.items() if name != missing}
        refused = client.post(address("cutting-file", number), {**fields, **some})
        assert refused.status_code == 422
        assert "expected" in read_words(refused)
    assert "cut.program" not in [kind for kind, _ in read_log(desk, number)]
    given = client.post(address("cutting-file", number), {**fields, **TICKS})
    assert given["Content-Disposition"] == f'attachment; filename="job-{number}.nc"'
    assert given["Cache-Control"] == "private, no-store"
    text = given.content.decode("ascii")
    assert f"JOB {number}" in text
    assert BITTING not in text
    standard = desk.pack.blades["heron-8"]
    secret = look_at_bitting(desk, number, ODILE, "test")
    swept = prove_program(text, standard, parse_bitting(standard, secret), desk.pack.tools["wheel-90"])
    assert swept.good
    assert read_program(text, where="")
    taken = [payload for kind, payload in read_log(desk, number) if kind == "cut.program"]
    machine = {"machine": "three-axis", "set_up": ""}
    assert taken == [{"standard": "heron-8", "cutter": "wheel-90", **machine}]


@pytest.mark.parametrize(("kind", "start"), [("glb", b"glTF"), ("dxf", b"999\n"), ("svg", b"<svg")])
def test_outlines_and_the_solid_are_files(client: Client, number: int, kind: str, start: bytes) -> None:
    given = client.post(address("cutting-file", number), {**see_plan(client, number), "kind": kind})
    assert given.status_code == 200
    assert given.content.lstrip().startswith(start.lstrip())


def test_a_cutter_that_cannot_is_refused_with_the_reason(client: Client, number: int, desk: Desk) -> None:
    unfit = next(
        name
        for name in desk.pack.tools
        if name
        not in {one["value"] for one in find_inputs(client.get(address("cutting", number)), name="cutter")}
    )
    refused = client.post(address("cutting", number), {**CHOICE, "cutter": unfit})
    assert refused.status_code == 422
    assert "expected a cutter that can make this blade" in read_words(refused)


@pytest.mark.parametrize(
    ("field", "value"), [("speed_rpm", "fast"), ("feed_mm_min", "-1"), ("material", "wood")]
)
def test_wrong_numbers_are_named(client: Client, number: int, field: str, value: str) -> None:
    refused = client.post(address("cutting", number), {**CHOICE, field: value})
    assert refused.status_code == 422
    assert "expected" in read_words(refused)


def test_a_chosen_speed_and_a_machine_profile_are_kept_to(
    client: Client, number: int, settings: Any, tmp_path: Path
) -> None:
    profile = tmp_path / "small.toml"
    profile.write_text('id = "small"\ntitle = "The small mill"\n[words]\nline_numbers = true\n')
    settings.BITTERN_MACHINE = profile
    fields = {**see_plan(client, number, speed_rpm="500"), **TICKS, "kind": "program", "set_up": ""}
    text = client.post(address("cutting-file", number), fields).content.decode()
    assert re.search(r"\bS500\b", text)
    assert re.search(r"^N\d+", text, re.MULTILINE)


@pytest.mark.parametrize("kind", ["program", "glb", "dxf", "svg"])
def test_a_plan_is_out_of_date_when_the_bitting_was_replaced(
    client: Client, number: int, desk: Desk, kind: str
) -> None:
    fields = {**see_plan(client, number), **TICKS, "kind": kind, "set_up": ""}
    assert client.post(address("cutting-file", number), fields).status_code == 200
    act(desk, number, "enter-bitting", bitting=OTHER_BITTING)
    before = read_log(desk, number)
    refused = client.post(address("cutting-file", number), fields)
    assert refused.status_code == 409
    assert "a plan for another bitting" in read_words(refused)
    # Neither was the seal opened nor a program handed out.
    assert read_log(desk, number) == before
    fresh = {**fields, **see_plan(client, number)}
    assert client.post(address("cutting-file", number), fields | fresh).status_code == 200


def test_a_program_taken_for_another_bitting_is_said_to_be_out_of_date(
    client: Client, number: int, desk: Desk
) -> None:
    words = "The program taken before is out of date"
    pages = (f"/jobs/{number}/?leg=blade", address("cutting", number))
    fields = {**see_plan(client, number), **TICKS, "kind": "program", "set_up": ""}
    client.post(address("cutting-file", number), fields)
    assert not any(words in read_words(client.get(page)) for page in pages)
    act(desk, number, "enter-bitting", bitting=OTHER_BITTING)
    assert all(words in read_words(client.get(page)) for page in pages)
    fields = {**see_plan(client, number), **TICKS, "kind": "program", "set_up": ""}
    client.post(address("cutting-file", number), fields)
    assert not any(words in read_words(client.get(page)) for page in pages)


def test_cutting_counts_for_the_cutter_until_somebody_looks(client: Client, number: int, desk: Desk) -> None:
    uses = DjangoUses()
    fields = {"cutter": "wheel-90", "eyes": "yes", "guard": "yes", "minutes": "130.5"}
    assert client.post(reverse("act", args=[number, "record-cut"]), fields).status_code == 302
    assert (uses.find("wheel-90").cuts, uses.find("wheel-90").minutes) == (1, 130.5)
    assert "wheel-90 has cut for" in read_words(client.get(address("cutting", number)))
    client.post(address("cutter-looked-at", number), {"cutter": "wheel-90"})
    found = uses.find("wheel-90")
    assert (found.cuts, found.minutes, found.looked_by) == (0, 0.0, "tamsin")
    assert "a look is due" not in read_words(client.get(address("cutting", number)))
    assert client.post(address("cutter-looked-at", number), {"cutter": "thunder"}).status_code == 409


@pytest.mark.parametrize("name", sorted(PACK.blades))
def test_every_blade_of_the_pack_has_its_set_ups(name: str, number: int, desk: Desk) -> None:
    standard = PACK.blades[name]
    count = len(standard.positions_mm)
    half = tuple(place % 2 for place in range(count))
    bitting = Bitting((half,) * (2 if standard.sides == "split" else 1))
    cutter = next(one for one in PACK.tools.values() if not fits_standard(one, standard))
    plan = build_plan(standard, bitting, cutter, Machine(), Wish(job="7"))
    shown = build_opened(desk, desk.store.load(number), plan, {"reason": "test"})
    assert plan.good
    assert [view.set_up.name for view in shown["set_ups"]] == (
        ["A", "B"] if standard.sides == "split" else [""]
    )
    assert plan.runs == (1 if standard.sides == "single" else 2)
    assert plan.time_s >= sum(one.planned.duration.time_s for one in plan.set_ups) - 1e-9
    for view in shown["set_ups"]:
        assert len(view.stills) == 3
        assert len(view.film["moments"]) > 20
        assert bool(view.turn) == (standard.sides != "single")


def test_models_and_migrations_agree() -> None:
    call_command("makemigrations", "cuttings", "jobs", check=True, dry_run=True, verbosity=0)
