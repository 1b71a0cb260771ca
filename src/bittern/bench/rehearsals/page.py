"""What the page of one rehearsal shows: under way, the step beside the vehicle; then its end."""

from __future__ import annotations

import json
import math
import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from bittern.bench.adapter.trace import draw_trace
from bittern.bench.pages.legs.pairing import WORKED_WORDS, Row, describe_end
from bittern.bench.pages.runner import ACT, build_run, say_signal
from bittern.bench.rehearsals.truth import DEED_WORDS, list_truth, shorten_say
from bittern.core.errors import shorten
from bittern.engines.pairing.census import word_need
from bittern.engines.pairing.scoring import SUCCESS
from bittern.engines.pairing.sheet import RunSheet, Signal
from bittern.engines.pairing.vehicle import find_true_census, tell_lamps
from bittern.engines.pairing.vehicle_faults import FAULTS, find_repeat
from bittern.engines.pairing.vehicle_state import Sign, Vehicle
from bittern.work.figures import get_figures
from bittern.work.pairing import MOST_KEYS
from bittern.work.people import Person
from bittern.work.rehearsal import COUNT_KEYS, READ_NUMBER, READ_SUPPLY, Scene, Shown
from bittern.work.rehearsal_link import find_limits, list_samples, make_rehearsal_number

BEGIN_RUN, DEED = "begin-rehearsed-run", "deed"
DO_WORDS = {"act": "Do it", "wait": "Wait", "check": "Check it", "choose": "See how it is"}
DID_WORDS = {
    **DEED_WORDS,
    "fetch-key": "You had the key fetched. That took a while.",
    READ_SUPPLY: "The link read the supply voltage.",
    READ_NUMBER: "The link read the number on board.",
    COUNT_KEYS: "You looked which keys lie there.",
}
DID_STEP = {"act": "You did", "wait": "You waited", "check": "You checked", "choose": "You looked"}
COURSE = 8
# Longer messages are drawn narrower, so that they stay in the display.
DISPLAY_CHARACTERS = 14
# What each phase says, and what the person answers to it; between the two stands the vehicle.
_SAY = {
    "needs": "rehearsals/needs.html",
    "step": "runner/step_say.html",
    "end": "rehearsals/end.html",
}
_MOVES = {"needs": "rehearsals/needs_form.html", "step": "runner/moves.html"}


@dataclass(frozen=True, slots=True)
class DashboardView:
    """What the drawing of the vehicle shows: the signs of the last deed as counts, and how it stands."""

    lamp: int
    beep: int
    lock: int
    message: str
    awake: bool
    open_doors: int
    steady: bool
    volts_word: str
    pairing: bool = False
    battery: bool = False

    @property
    def message_long(self) -> bool:
        """Whether the message has to be drawn narrower."""
        return len(self.message) > DISPLAY_CHARACTERS


@dataclass(frozen=True, slots=True)
class DeedView:
    """A deed that is offered: its kind and its word."""

    kind: str
    word: str


@dataclass(frozen=True, slots=True)
class ShownView:
    """The last deed in words, and what came of it."""

    did: str
    sentences: tuple[str, ...]


def build_scene(scene: Scene, person: Person, now: datetime) -> dict[str, Any]:
    """Return what is shown of one rehearsal."""
    run, rehearsal = scene.run, scene.rehearsal
    own = rehearsal.person == person.login
    context = build_run(run)
    # The view that the runner would show: with a reading that is too old it asks for the supply again.
    view = "needs" if run.state.phase == "needs" else Path(context["template"]).stem
    context |= {
        "rehearsal": rehearsal,
        "scene": scene,
        "own": own,
        "may_work": own and not run.state.ended,
        "now": now,
        "late": bool(run.state.deadline and run.state.deadline < now),
        "present": person.name,
        "say_template": _SAY.get(view, f"runner/{view}.html"),
        "moves_template": _MOVES.get(view, ""),
        "waits": run.state.phase == "needs",
        **build_census_rows(scene),
        **build_vehicle(scene, view),
        **build_trace(scene, now),
    }
    if run.state.phase == "needs":
        context |= build_needs(scene)
    if run.state.ended:
        context |= build_end(scene)
    return context


def build_needs(scene: Scene) -> dict[str, Any]:
    """Return what is asked before the first step, and what the customer says."""
    return {
        "needs": [(need, word_need(need)) for need in scene.sheet.needs],
        "begin_run_act": BEGIN_RUN,
        "keys_said": [(key.name, key.said_here) for key in scene.vehicle.keys if not key.new],
        "number": make_rehearsal_number(scene.vehicle.seed),
    }


def build_census_rows(scene: Scene) -> dict[str, Any]:
    """Return the fields of the key census with the keys' names; who counts has to look for the rest."""
    counted = [key for key in scene.run.state.keys or () if not key.new]
    fields: dict[str, object] = {}
    for number, key in enumerate((key for key in scene.vehicle.keys if not key.new), 1):
        fields[f"key-{number}-name"] = key.name
        before = next((one for one in counted if one.name == key.name), None)
        fields[f"key-{number}-present"] = "yes" if before and before.present else ""
        works = before.works_before if before else key.works_before
        fields[f"key-{number}-worked"] = {True: "yes", False: "no", None: "unknown"}[works]
    shown = sum(not key.new for key in scene.vehicle.keys)
    rows = [Row(number) for number in range(1, MOST_KEYS + 1)]
    return {
        "rows_shown": rows[:shown],
        "rows_more": rows[shown:],
        "worked_words": WORKED_WORDS,
        "initial": {ACT: fields, BEGIN_RUN: fields},
    }


def build_vehicle(scene: Scene, view: str) -> dict[str, Any]:
    """Return the vehicle as it looks, what it did last, and what may be done to it."""
    vehicle, last = scene.vehicle, scene.shown[-1] if scene.shown else None
    step = scene.sheet.steps[scene.run.state.step_id]
    at_step = view == "step"
    return {
        "seen": draw_dashboard(scene, last),
        "shown": _say_shown(scene.sheet, last) if last else None,
        "signs_json": _list_signs(last) if last else "",
        "main_deed": DO_WORDS.get(step.kind, "") if at_step else "",
        "asks_supply": view == "supply",
        "deed_keys": list_deed_keys(scene) if at_step else [],
        "deeds": list_deeds(vehicle),
        "step_words": {
            name: shorten_say(scene.sheet, name)
            for name, one in scene.sheet.steps.items()
            if one.kind != "end"
        },
        "state_words": list_state(scene),
        "old_keys": [key.name for key in vehicle.keys if not key.new],
        "deed_id": str(uuid.uuid4()),
    }


def build_trace(scene: Scene, now: datetime) -> dict[str, Any]:
    """Return the readings of the last minutes as a drawing; nothing before the first one."""
    samples, limits = list_samples(scene.events, now), find_limits(scene.sheet)
    read = bool(scene.shown) and scene.shown[-1].deed == READ_SUPPLY
    return {"trace": draw_trace(samples, limits), "limits": limits, "trace_open": read} if samples else {}


def draw_dashboard(scene: Scene, last: Shown | None) -> DashboardView:
    """Return what the drawing shows."""
    counts = dict.fromkeys(("lamp", "beep", "lock-cycle"), 0)
    message = ""
    for sign in last.signs if last else ():
        if sign.kind in counts:
            counts[sign.kind] += sign.count
        elif sign.kind == "message":
            message = sign.text or "message"
    vehicle, volts = scene.vehicle, scene.run.state.supply_v
    lit = tell_lamps(scene.sheet, vehicle)
    return DashboardView(
        lamp=counts["lamp"],
        beep=counts["beep"],
        lock=counts["lock-cycle"],
        message=message,
        awake=vehicle.awake,
        open_doors=vehicle.open_doors,
        steady=vehicle.supply.steady,
        volts_word="supply" if volts is None else f"{volts:.2f} V",
        pairing="pairing" in lit,
        battery="battery" in lit,
    )


def list_deeds(vehicle: Vehicle) -> list[DeedView]:
    """Return what may be done to the vehicle beside the steps of the sheet."""
    steady, shut = vehicle.supply.steady, vehicle.open_doors == 0
    return [
        DeedView("remove-supply", "Take the supply off")
        if steady
        else DeedView("connect-supply", "Connect the supply"),
        DeedView("open-door", "Open a door") if shut else DeedView("close-doors", "Close the doors"),
    ]


def list_deed_keys(scene: Scene) -> list[str]:
    """Return the keys that the step at hand may be done with, where it shows one of several."""
    repeat = find_repeat(scene.sheet)
    if repeat is None or scene.run.state.step_id not in repeat.takers:
        return []
    return [key.name for key in scene.vehicle.keys if key.here]


def list_state(scene: Scene) -> list[tuple[str, str]]:
    """Return how the vehicle stands as far as anybody can see it."""
    vehicle, state = scene.vehicle, scene.run.state
    volts = "not read yet" if state.supply_v is None else f"{state.supply_v:.2f} V when it was last read"
    return [
        ("Ignition", "on" if vehicle.awake else "off"),
        ("Doors", f"{vehicle.open_doors} open" if vehicle.open_doors else "all shut"),
        ("Steady supply", "connected" if vehicle.supply.steady else "not connected"),
        ("Supply voltage", volts),
    ]


def say_sign(sign: Sign) -> str:
    """Return what the vehicle showed or the person found, as a sentence."""
    if sign.kind == "finding":
        return sign.text
    return say_signal(Signal(sign.kind, sign.count, sign.text))


def build_end(scene: Scene) -> dict[str, Any]:
    """Return the score with its reasons, and the truth."""
    seconds = scene.vehicle.now_s + scene.vehicle.skipped_s
    figures = get_figures(scene.sheet)
    forecast = {one.name: one.works for one in scene.run.forecast}
    return {
        # The table of the truth says it beside what was so.
        "end": {**describe_end(scene.run), "forecast": ()},
        "reasons": [
            {**reason, "say": shorten_say(scene.sheet, str(reason.get("step") or ""))}
            for reason in scene.rehearsal.reasons
        ],
        "good_enough": SUCCESS,
        "next_place": place + 1 if 0 < (place := scene.rehearsal.place) < COURSE else 0,
        "took": f"{max(1, round(seconds / 60))} min",
        "usual": [f"{max(1, math.ceil(s / 60))} min" for s in (figures.time_p50_s, figures.time_p90_s)],
        "truth": [(key.name, key.works, forecast.get(key.name)) for key in find_true_census(scene.vehicle)],
        "true_lines": list_truth(scene.sheet, scene.vehicle),
        "faults_said": [FAULTS[name] for name in scene.rehearsal.faults],
    }


def _say_shown(sheet: RunSheet, last: Shown) -> ShownView:
    did = DID_WORDS.get(last.deed, "")
    if last.deed == "do":
        step = sheet.steps.get(last.step)
        did = f"{DID_STEP[step.kind]}: {shorten_say(sheet, step.id)}" if step else ""
    return ShownView(did, tuple(say_sign(sign) for sign in last.signs))


def _list_signs(last: Shown) -> str:
    signs = [
        {"kind": sign.kind, "count": sign.count, "text": shorten(sign.text) if sign.text else ""}
        for sign in last.signs
        if sign.kind != "finding"
    ]
    return json.dumps(signs) if signs else ""
