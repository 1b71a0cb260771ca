"""The Vehicle leg: which vehicle it is, surely."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from bittern.core.phrases import join_words
from bittern.engines.vehicle.changes import Suspicion
from bittern.engines.vehicle.errors import VehicleError
from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.vehicle import NumberStudy, list_makes, list_models, study_number

ACT = "record-vehicle"
HOWS = {
    "seen": "Read by you at the vehicle",
    "read-aloud": "Read aloud to you",
    "told": "Told from memory or hearsay",
    "photographed": "From a photo",
}
DOUBTFUL = 0.1
"""A place whose chance of a slip is smaller is not marked."""
MOST_MARKED = 4
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
    study, trouble = find_study(desk, str(fields.get("vin") or ""), str(fields.get("how") or ""))
    make = str(fields.get("make") or "")
    if not make and study and study.decoding:
        make = study.decoding.make or ""
    return {
        "initial": {ACT: dict(fields)},
        "hows": HOWS,
        "starts": STARTS,
        "makes": list_makes(desk.pack),
        "models": list_models(desk.pack, make),
        "study": study,
        "study_trouble": trouble,
        "is_news": is_news(study, fields),
        "doubt": find_doubt(study),
    }


@dataclass(frozen=True, slots=True)
class Doubt:
    """The number in pieces, each with whether it is doubtful, and the doubtful places in words."""

    pieces: tuple[tuple[str, bool], ...]
    words: str


def find_doubt(study: NumberStudy | None) -> Doubt | None:
    """Return where the number may be wrong, or None where no place stands out."""
    if study is None or study.posterior is None:
        return None
    marked = [one for one in study.posterior.suspicious if one.p >= DOUBTFUL][:MOST_MARKED]
    if not marked:
        return None
    wrong = {one.position for one in marked if one.slip == "wrong"}
    places = enumerate(study.report.vin, start=1)
    pieces = tuple(
        ("".join(character for _, character in group), doubtful)
        for doubtful, group in groupby(places, key=lambda one: one[0] in wrong)
    )
    return Doubt(pieces, _say_places(marked, len(study.report.vin)))


def _say_places(marked: Sequence[Suspicion], length: int) -> str:
    wrong = sorted(one.position for one in marked if one.slip == "wrong")
    gaps = sorted(one.position for one in marked if one.slip == "missing")
    said = []
    if len(wrong) == 1:
        said.append(f"position {wrong[0]} is the likeliest slip")
    elif wrong:
        said.append(f"positions {join_words(list(map(str, wrong)))} are the likeliest slips")
    if gaps:
        where = [f"before position {gap}" if gap <= length else "at the end" for gap in gaps]
        said.append(f"a character may be missing {' or '.join(where)}")
    return "; ".join(said)


def find_study(desk: Desk, text: str, how: str = "") -> tuple[NumberStudy | None, str]:
    """Return what the number says, or why it says nothing."""
    if not text.strip():
        return None, ""
    try:
        return study_number(desk, text, how if how in HOWS else "seen"), ""
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
