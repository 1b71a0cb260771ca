"""The Vehicle leg: which vehicle it is, surely."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bittern.engines.vehicle.errors import VehicleError
from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.vehicle import NumberStudy, list_makes, list_models, study_number

ACT = "record-vehicle"
STARTS = {"": "Not known yet", "turn": "By turning a key", "push": "By pressing a button"}


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return the form, filled with what is on record, and what its number says."""
    return build_form(desk, job.vehicle.model_dump() if job.vehicle else {})


def build_typed(
    desk: Desk, job: JobFile, person: Person, typed: Mapping[str, Mapping[str, object]]
) -> dict[str, Any]:
    """Return the form's context anew where a draft of it holds another number."""
    return build_form(desk, typed[ACT]) if ACT in typed else {}


def build_form(desk: Desk, fields: Mapping[str, object]) -> dict[str, Any]:
    """Return the context of the form with ``fields`` in it."""
    study, trouble = find_study(desk, str(fields.get("vin") or ""))
    make = str(fields.get("make") or "")
    if not make and study and study.decoding:
        make = study.decoding.make or ""
    return {
        "initial": {ACT: dict(fields)},
        "starts": STARTS,
        "makes": list_makes(desk.pack),
        "models": list_models(desk.pack, make),
        "study": study,
        "study_trouble": trouble,
        "is_news": is_news(study, fields),
    }


def find_study(desk: Desk, text: str) -> tuple[NumberStudy | None, str]:
    """Return what the number says, or why it says nothing."""
    if not text.strip():
        return None, ""
    try:
        return study_number(desk, text), ""
    except VehicleError as error:
        return None, f"Found {error.found}; expected {error.expected}."


def decoded_fields(study: NumberStudy | None) -> dict[str, str]:
    """Return make, model, year and start as far as the number tells them."""
    if study is None or study.decoding is None:
        return {}
    found = study.decoding
    told = {
        "make": found.make,
        "model": found.model,
        "year": found.model_year,
        "start": found.attributes.get("start"),
    }
    return {name: str(value) for name, value in told.items() if value and not isinstance(value, tuple)}


def is_news(study: NumberStudy | None, fields: Mapping[str, object]) -> bool:
    """Tell whether the number says something that the form does not say yet."""
    return any(str(fields.get(name) or "") != value for name, value in decoded_fields(study).items())
