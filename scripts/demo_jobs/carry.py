"""Carries one invented job through the legs as a shop would, up to where it is to stop."""

from __future__ import annotations

import math
import random
import uuid

from bittern.demo.numbers import make_number
from bittern.engines.blade.bitting import Bitting, count_edges, find_violations, format_bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.key.catalogue import Article, Fitment
from bittern.work.blade import get_standard, list_cutters
from bittern.work.key import weigh
from bittern.work.pairing import load_run
from bittern.work.prooflist import list_tests
from bittern.work.settled import needs_blade, needs_pairing

from .people import make_customer
from .recorder import Recorder

LEGS = ("request", "vehicle", "key", "promise", "blade", "pairing", "proof", "handover")
MOST_QUESTIONS = 5


class Plan:
    """One vehicle and what is to happen to its job; ``stop`` names the leg that is left open, or is empty."""

    def __init__(self, fitment: Fitment, article: Article, stop: str = "", *, setbacks: bool = False) -> None:
        self.fitment, self.article, self.stop, self.setbacks = fitment, article, stop, setbacks


def carry_job(record: Recorder, plan: Plan, rng: random.Random) -> None:
    """Carry the job of ``plan`` leg by leg until the one where it stops."""
    customer = make_customer(rng)
    want = (
        "all-lost"
        if plan.fitment.runsheet.endswith("renew")
        else rng.choice(("spare", "spare", "replacement"))
    )
    record.open(rng.choice(("counter", "technician")), {"want": want, **customer})
    for leg in LEGS:
        if leg == plan.stop and leg not in ("promise", "key", "pairing"):
            return
        _CARRY[leg](record, plan, rng)
        if leg == plan.stop:
            return


def _carry_request(record: Recorder, plan: Plan, rng: random.Random) -> None:
    papers = rng.choice((["registration"], ["registration"], ["lease-contract", "power-of-attorney"]))
    if record.job.request.want == "all-lost":
        papers = [*papers, "loss-report"]
    record.do(
        "counter",
        "record-authority",
        {"documents": ["photo-identity", *papers], "holder": record.job.request.customer, "caution": "yes"},
        after_min=rng.uniform(2, 6),
    )


def _carry_vehicle(record: Recorder, plan: Plan, rng: random.Random) -> None:
    f = plan.fitment
    year = rng.randint(f.year_from, min(f.year_to, 2026))
    vin = make_number(record.desk.pack, f.make, f.model, year, rng.randrange(1000, 990_000), f.start)
    data = {"vin": vin, "make": f.make, "model": f.model, "year": str(year), "start": f.start}
    record.do("counter", "record-vehicle", data, after_min=rng.uniform(1, 5))


def _carry_key(record: Recorder, plan: Plan, rng: random.Random) -> None:
    for _ in range(MOST_QUESTIONS):
        found = weigh(record.desk, record.job)
        asks = [ask.question for ask in found.ask if ask.question in _ANSWERS]
        if found.settled or not asks or found.order == plan.article.article:
            break
        record.do("technician", "observe", _ANSWERS[asks[0]](plan.article, rng), after_min=rng.uniform(1, 4))
        if plan.stop == "key":
            return
    found = weigh(record.desk, record.job)
    data = {"article": plan.article.article}
    if not (found.settled and found.order == plan.article.article):
        data["because"] = "Compared with the customer's working key on the bench; it is the same."
    record.do("technician", "choose-article", data, after_min=rng.uniform(1, 3))


def _carry_promise(record: Recorder, plan: Plan, rng: random.Random) -> None:
    record.do("counter", "offer", {}, after_min=rng.uniform(1, 4))
    if plan.stop == "promise":
        return
    how = rng.choice(("in-person", "by-telephone"))
    accepted = {"accepted_by": record.job.request.customer, "accepted_how": how}
    record.do("counter", "accept", accepted, after_min=rng.uniform(2, 90))


def _carry_blade(record: Recorder, plan: Plan, rng: random.Random) -> None:
    if not needs_blade(record.job):
        return
    standard = get_standard(record.desk, record.job)
    bitting = make_bitting(standard, rng)
    if rng.random() < 0.4:
        record.do("technician", "enter-readings", _make_readings(standard, bitting, rng), after_min=9)
    else:
        given = {"bitting": format_bitting(standard, bitting)}
        record.do("technician", "enter-bitting", given, after_min=rng.uniform(2, 6))
    cutter = list_cutters(record.desk, record.job)[0].cutter.id
    for result in ("wasted", "fits") if plan.setbacks else ("fits",):
        record.do("technician", "record-cut", {"cutter": cutter, "eyes": "yes", "guard": "yes"}, after_min=8)
        note = "The blank slipped in the clamp." if result == "wasted" else ""
        record.do("technician", "record-inspection", {"result": result, "note": note}, after_min=4)


def _carry_pairing(record: Recorder, plan: Plan, rng: random.Random) -> None:
    if not needs_pairing(record.job):
        return
    who = rng.choice(("technician", "colleague"))
    for _ in range(4):
        keys = {"key-1-name": "The owner's key", "key-1-worked": "yes", "key-1-present": "yes"}
        if record.job.request.want == "all-lost":
            keys = {}
        needs = list(record.desk.pack.runsheets[record.job.key.runsheet].needs) if record.job.key else []
        record.do(who, "begin-pairing", {"needs": needs, **keys}, after_min=rng.uniform(5, 20))
        outcome = _walk(record, plan, rng, who)
        if outcome in ("good", "stopped"):
            return
    raise RuntimeError("the pairing did not end well in four runs: choose another seed")


def _walk(record: Recorder, plan: Plan, rng: random.Random, who: str) -> str:
    """Walk the run sheet; return its outcome, or ``stopped`` where the job is to be left under way."""
    walked = 0
    while True:
        run = load_run(record.desk, record.job)
        if run is None or run.state.ended:
            return record.job.pairing.outcome if record.job.pairing else ""
        step = run.sheet.steps[run.state.step_id]
        if plan.stop == "pairing" and (walked >= 3 or run.state.phase == "confirm"):
            return "stopped"
        event_id = str(uuid.UUID(int=rng.getrandbits(128), version=4))
        data: dict[str, object] = {"event_id": event_id, "step": step.id, "visit": str(run.state.visit)}
        unread = run.state.supply_v is None and step.id == "supply"
        if run.sheet.supply and (unread or run.state.phase == "supply"):
            data |= {"kind": "supply", "volts": f"{rng.uniform(12.45, 12.95):.2f}"}
        elif run.state.phase == "confirm":
            data |= {"kind": "confirmed", "sure": "yes"}
        elif step.kind == "choose":
            data |= {"kind": "chosen", "choice": _choose(step.options, rng)}
        elif plan.setbacks and step.fails and not step.no_return and rng.random() < 4 * step.fails[0].chance:
            data |= {"kind": "failed", "to": step.fails[0].to}
        else:
            data |= {"kind": "done"}
        minutes = rng.triangular(step.typical_s, max(step.slowest_s, step.typical_s + 1), step.typical_s) / 60
        if step.window_s is not None:
            minutes = min(minutes, 0.9 * step.window_s / 60)
        record.do(who, "pairing-event", data, after_min=minutes)
        walked += 1


def _choose(options: tuple[object, ...], rng: random.Random) -> str:
    labels = [str(getattr(option, "label", "")) for option in options]
    return labels[0] if rng.random() < 0.7 else rng.choice(labels)


def _carry_proof(record: Recorder, plan: Plan, rng: random.Random) -> None:
    tests = list_tests(record.job)
    for position, test in enumerate(tests):
        if plan.setbacks and position == 0:
            failed = {
                "test": test.id,
                "result": "failed",
                "note": "No answer; the remote's battery sat askew.",
            }
            record.do("technician", "answer-test", failed, after_min=1)
        record.do(
            "technician", "answer-test", {"test": test.id, "result": "passed"}, after_min=rng.uniform(0.3, 2)
        )


def _carry_handover(record: Recorder, plan: Plan, rng: random.Random) -> None:
    data = {
        "keys_handed": "1",
        "payment_reference": f"P-{rng.randrange(10_000, 99_999)}",
        "signed_by": record.job.request.customer,
        "strokes": _draw_signature(rng),
    }
    record.do("counter", "sign", data, after_min=rng.uniform(3, 12))


def make_bitting(standard: BladeStandard, rng: random.Random) -> Bitting:
    """Return a random bitting that keeps every rule of ``standard``."""
    count, depths = len(standard.positions_mm), len(standard.depths_mm)
    while True:
        edges = []
        for _ in range(count_edges(standard)):
            cuts = [rng.randrange(depths)]
            while len(cuts) < count:
                low, high = max(0, cuts[-1] - standard.macs), min(depths - 1, cuts[-1] + standard.macs)
                cuts.append(rng.randint(low, high))
            edges.append(tuple(cuts))
        bitting = Bitting(tuple(edges))
        if not find_violations(standard, bitting):
            return bitting


def _make_readings(standard: BladeStandard, bitting: Bitting, rng: random.Random) -> dict[str, object]:
    cuts = [cut for edge in bitting.edges for cut in edge if cut is not None]
    heights = [standard.depths_mm[cut] + rng.gauss(0, 0.008) for cut in cuts]
    readings = {f"reading-{place}": f"{height:.2f}" for place, height in enumerate(heights, start=1)}
    return {"sd_mm": "0.02", "accept_because": "Each cut measured three times.", **readings}


def _draw_signature(rng: random.Random) -> list[list[list[int]]]:
    phase, tall = rng.uniform(0, 3), rng.uniform(80, 200)
    points = [
        [150 + 12 * step, round(500 + tall * math.sin(phase + step / 2.3) * math.cos(step / 7))]
        for step in range(52)
    ]
    return [points, [[200, 720], [500, 700], [760, 715]]]


_ANSWERS = {
    "fcc_id": lambda a, rng: (
        {"kind": "fcc_id", "value": a.fcc_id, "how": rng.choice(("read-aloud", "seen", "photographed"))}
        if a.fcc_id
        else {"kind": "fcc_id", "cannot": "yes", "how": "told"}
    ),
    "button_count": lambda a, rng: {"kind": "button_count", "value": str(len(a.buttons)), "how": "seen"},
    "buttons": lambda a, rng: (
        {"kind": "buttons", "value": list(a.buttons), "how": "seen"}
        if a.buttons
        else {"kind": "buttons", "cannot": "yes", "how": "seen"}
    ),
    "blade": lambda a, rng: (
        {"kind": "blade", "value": a.blade, "how": "seen"}
        if a.blade
        else {"kind": "blade", "cannot": "yes", "how": "seen"}
    ),
    "frequency_hz": lambda a, rng: (
        {"kind": "frequency_hz", "value": str(round(a.frequency_hz + rng.gauss(0, 9000))), "how": "measured"}
        if a.frequency_hz
        else {"kind": "frequency_hz", "cannot": "yes", "how": "measured"}
    ),
}

_CARRY = {
    "request": _carry_request,
    "vehicle": _carry_vehicle,
    "key": _carry_key,
    "promise": _carry_promise,
    "blade": _carry_blade,
    "pairing": _carry_pairing,
    "proof": _carry_proof,
    "handover": _carry_handover,
}
