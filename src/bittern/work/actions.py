"""Every act on a job by its name, for the bench's forms, the command line and the demo alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from bittern.core.errors import shorten
from bittern.work import (
    asking,
    blade,
    blade_reading,
    handover,
    key,
    ladder_climb,
    ladder_plan,
    number_on_board_record,
    pairing,
    promise,
    proof,
    request,
    supply_record,
    vehicle,
)
from bittern.work.errors import WorkError
from bittern.work.people import Person
from bittern.work.ports import Desk

Act = Callable[[Desk, int, Person, Mapping[str, object]], None]


class NoSuchActError(WorkError):
    """No act has this name."""

    code = "work.no-such-act"
    meaning = "No act on a job has this name."


# name -> (leg it belongs to, the act)
ACTS: dict[str, tuple[str, Act]] = {
    "change-request": ("request", request.change_request),
    "record-authority": ("request", request.record_authority),
    "withdraw": ("request", request.withdraw),
    "record-vehicle": ("vehicle", vehicle.record_vehicle),
    "observe": ("key", key.add_observation),
    "question-sent": ("key", asking.record_question_sent),
    "strike-observation": ("key", key.strike_observation),
    "choose-article": ("key", key.choose_article),
    "refuse-article": ("key", key.refuse_article),
    "offer": ("promise", promise.offer_promise),
    "accept": ("promise", promise.accept_promise),
    "enter-bitting": ("blade", blade.enter_bitting),
    "enter-readings": ("blade", blade.enter_readings),
    "measure-again": ("blade", blade_reading.measure_again),
    "swap-edges": ("blade", blade_reading.swap_edges),
    "take-reading": ("blade", blade_reading.take_reading),
    "drop-reading": ("blade", blade_reading.drop_reading),
    "plan-ladder": ("blade", ladder_plan.plan_job_ladder),
    "begin-ladder": ("blade", ladder_climb.begin_ladder),
    "ladder-rung": ("blade", ladder_climb.record_rung),
    "ladder-turned": ("blade", ladder_climb.finish_ladder),
    "drop-ladder": ("blade", ladder_climb.drop_ladder),
    "record-cut": ("blade", blade.record_cut),
    "record-inspection": ("blade", blade.record_inspection),
    "record-number": ("pairing", number_on_board_record.record_number),
    "accept-number": ("pairing", number_on_board_record.accept_number),
    "record-supply": ("pairing", supply_record.record_supply),
    "begin-pairing": ("pairing", pairing.begin_pairing),
    "pairing-event": ("pairing", pairing.record_event),
    "pair-otherwise": ("pairing", pairing.pair_otherwise),
    "answer-test": ("proof", proof.answer_test),
    "sign": ("handover", handover.sign_handover),
}


def act(desk: Desk, number: int, person: Person, name: str, data: Mapping[str, object]) -> str:
    """Do the act ``name`` on job ``number`` and return the leg it belongs to; raises NoSuchActError."""
    if name not in ACTS:
        raise NoSuchActError(shorten(name), "one of: " + ", ".join(ACTS))
    leg, function = ACTS[name]
    function(desk, number, person, data)
    return leg
