"""The Vehicle leg: the number is checked and decoded, or accepted with a reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bittern.data import vpic
from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.index import plain_name
from bittern.engines.vehicle.decode import Decoding, decode_vin
from bittern.engines.vehicle.errors import VehicleError
from bittern.engines.vehicle.number import VinReport, check_vin
from bittern.engines.vehicle.suggestion import Suggestion, suggest_vins
from bittern.formats.packs import Pack
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.facts import Vehicle
from bittern.work.people import Person
from bittern.work.ports import Desk

YEARS = (1950, 2050)


@dataclass(frozen=True, slots=True)
class NumberStudy:
    """What a number says: the rules' report, its decode, or what else could have been meant."""

    report: VinReport
    decoding: Decoding | None
    suggestions: tuple[Suggestion, ...]


def study_number(desk: Desk, text: str) -> NumberStudy:
    """Return the study of a typed number; raises NotANumberError where nothing like a number was typed."""
    report = check_vin(text)
    if report.valid:
        return NumberStudy(
            report, decode_vin(report.vin, desk.pack.numbers, vpic.look_up, spans=desk.pack.spans), ()
        )
    wmis = vpic.known_wmis() | {pattern.wmi for pattern in desk.pack.numbers}
    return NumberStudy(report, None, suggest_vins(report.vin, wmis, fitting=vpic.fitting, limit=5))


def list_makes(pack: Pack) -> tuple[str, ...]:
    """Return the makes of the pack, in order."""
    return tuple(sorted({fitment.make for fitment in pack.fitments}))


def list_models(pack: Pack, make: str) -> tuple[str, ...]:
    """Return the models of ``make``, in order."""
    return tuple(sorted({fitment.model for fitment in pack.fitments if fitment.make == make}))


def record_vehicle(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record the vehicle: fields vin, make, model, year, start, accepted_because.

    What the number decodes to fills make, model and year where they were left empty. A missing or wrong
    number needs ``accepted_because``; nothing is corrected silently.
    """
    entry = Entry(data)
    text = entry.text("vin", limit=40)
    make = _spell(entry.text("make", limit=60), list_makes(desk.pack))
    model = _spell(entry.text("model", limit=60), list_models(desk.pack, make))
    year = entry.whole("year", *YEARS)
    start = entry.choice("start", STARTS, required=False)
    because = entry.text("accepted_because", limit=300)
    study = _study(entry, desk, text)
    valid = study is not None and study.report.valid
    decoding = study.decoding if study else None
    if decoding is not None and valid:
        _find_conflicts(entry, decoding, make=make, year=year, because=because)
    if not valid and not because:
        problem = study.report.problems[0] if study and study.report.problems else "no number"
        entry.fault(
            "vin" if text else "accepted_because",
            problem,
            "a number that agrees with itself, or the reason why it is accepted as it is",
        )
    entry.finish()
    vehicle = Vehicle(
        vin=study.report.vin if study else "",
        valid=valid,
        make=make or (decoding.make if decoding else None) or "",
        model=model or (decoding.model if decoding else None) or "",
        year=year or (decoding.model_year if decoding else None),
        start=start or _get_start(decoding),
        source=_name_source(study if valid else None, year),
        accepted_because=because,
    )
    with changing(desk, number, person, "counter") as change:
        before = change.job.vehicle
        change.put(vehicle=vehicle)
        if before is not None and (before.make, before.model) != (vehicle.make, vehicle.model):
            # Another vehicle: the article was chosen for the old one.
            change.put(key=None, promise=None, blade=None, pairing=None, proof=())
        change.log(
            "vehicle.recorded",
            vin=vehicle.vin,
            valid=valid,
            make=vehicle.make,
            model=vehicle.model,
            year=vehicle.year,
            because=because,
        )


def _spell(word: str, known: tuple[str, ...]) -> str:
    """Return ``word`` as the pack writes it: run sheets and fitments are found by that spelling."""
    return next((one for one in known if plain_name(one) == plain_name(word)), word)


def _study(entry: Entry, desk: Desk, text: str) -> NumberStudy | None:
    if not text:
        return None
    try:
        return study_number(desk, text)
    except VehicleError as error:
        entry.fault("vin", error.found, error.expected)
        return None


def _find_conflicts(entry: Entry, decoding: Decoding, *, make: str, year: int | None, because: str) -> None:
    """Note where what was typed and what the number says disagree, unless a reason was given."""
    if because:
        return
    if make and decoding.make and make.casefold() != decoding.make.casefold():
        entry.fault("make", make, f"{decoding.make}, which the number says, or a reason below")
    if year and decoding.model_year and abs(year - decoding.model_year) > 1:
        entry.fault("year", str(year), f"{decoding.model_year}, which the number says, or a reason below")


def _get_start(decoding: Decoding | None) -> str:
    start = decoding.attributes.get("start", "") if decoding else ""
    return str(start) if start in STARTS else ""


def _name_source(study: NumberStudy | None, year: int | None) -> str:
    """Return where the model year comes from: the number's source, or ``told``."""
    decoding = study.decoding if study else None
    if study is None or decoding is None:
        return "told"
    # The number's year code leaves years thirty apart; a year that was told and is one of them is sure.
    years = study.report.model_years if decoding.model_year is None else (decoding.model_year,)
    return (decoding.source or "number") if year in (None, *years) and years else "told"
