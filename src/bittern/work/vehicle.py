"""The Vehicle leg: the number is checked and decoded, or accepted with a reason."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from bittern.core.channel import CHANNEL_BY_HOW
from bittern.data import vpic
from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.evidence import Vehicle as KeyVehicle
from bittern.engines.key.index import plain_name
from bittern.engines.vehicle.decode import Decoding, Spans, decode_vin
from bittern.engines.vehicle.errors import VehicleError
from bittern.engines.vehicle.number import VinReport, check_vin, find_model_years
from bittern.engines.vehicle.pattern import NumberPattern
from bittern.engines.vehicle.suggestion import NumberPosterior, Suggestion, weigh_numbers
from bittern.formats.packs import Pack
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.facts import Vehicle
from bittern.work.people import Person
from bittern.work.ports import Desk

YEARS = (1950, 2050)
LEAST_SHOWN = 0.01
"""A suggestion less probable than this is no help beside the field."""
MOST_SHOWN = 5


HOWS = ("seen", "read-aloud", "told", "photographed")
"""How a typed number can have come; ``measured`` is for what no person typed."""


@dataclass(frozen=True, slots=True)
class OtherNumber:
    """A number that could have been meant, with the vehicle it stands for as far as that is known."""

    suggestion: Suggestion
    decoding: Decoding

    @property
    def vehicle(self) -> str:
        """Make, model and year in words; empty where not even the make is known."""
        found = self.decoding
        if found.make is None:
            return ""
        return " ".join(str(part) for part in (found.make, found.model, found.model_year) if part)


@dataclass(frozen=True, slots=True)
class NumberStudy:
    """What a number says: the rules' report, its decode, and what else could have been meant.

    ``posterior`` is None where the number agrees with itself, so that nothing speaks against it.
    """

    report: VinReport
    decoding: Decoding | None
    posterior: NumberPosterior | None = None
    others: tuple[OtherNumber, ...] = ()

    @property
    def p_none(self) -> float:
        """The chance that neither the text nor any of the others was meant."""
        listed = sum(other.suggestion.probability for other in self.others)
        return max(0.0, 1.0 - listed - (self.posterior.p_as_read if self.posterior else 1.0))


def study_number(desk: Desk, text: str, how: str = "seen") -> NumberStudy:
    """Return the study of a typed number; raises NotANumberError where nothing like a number was typed."""
    study = _read_number(desk.pack, text)
    report = study.report
    if report.valid and report.check_digit.agrees:
        return study
    posterior = weigh_text(desk.pack, report.vin, how, limit=MOST_SHOWN + 1)
    others = tuple(
        OtherNumber(one, _decode(desk.pack, one.vin))
        for one in posterior.suggestions
        if one.vin != report.vin and one.probability >= LEAST_SHOWN
    )
    return replace(study, posterior=posterior, others=others[:MOST_SHOWN])


def _read_number(pack: Pack, text: str) -> NumberStudy:
    report = check_vin(text)
    return NumberStudy(report, _decode(pack, report.vin) if report.valid else None)


def weigh_text(pack: Pack, text: str, how: str = "seen", *, limit: int = 100) -> NumberPosterior:
    """Return the numbers that could have been meant by ``text``, by the pack and the public data."""
    wmis = vpic.known_wmis() | {pattern.wmi for pattern in pack.numbers}
    fitting = partial(find_fitting, pack)
    return weigh_numbers(text, wmis, rates=CHANNEL_BY_HOW[how], fitting=fitting, limit=limit)


def find_fitting(pack: Pack, vins: Iterable[str]) -> frozenset[str]:
    """Return those of ``vins`` that a row of the pack holds, in a year that it lists, or the public data."""
    numbers = tuple(vins)
    spans = pack.spans
    by_wmi: dict[str, list[NumberPattern]] = {}
    for row in pack.numbers:
        by_wmi.setdefault(row.wmi[:3], []).append(row)
    in_pack = {vin for vin in numbers if _fits_pack(vin, by_wmi.get(vin[:3], []), spans)}
    return vpic.fitting(numbers) | in_pack


def _fits_pack(vin: str, rows: Sequence[NumberPattern], spans: Spans) -> bool:
    years = find_model_years(vin)
    for row in rows:
        if row.matches(vin):
            first, last = spans.get((row.make, row.model), YEARS)
            # Outside North America position 10 need not be a year.
            if not years or any(first <= year <= last for year in years):
                return True
    return False


def _decode(pack: Pack, vin: str) -> Decoding:
    return decode_vin(vin, pack.numbers, vpic.look_up, spans=pack.spans)


def complete_vehicle(
    vehicle: KeyVehicle, pack: Pack, study: NumberStudy | None = None
) -> tuple[KeyVehicle, tuple[str, ...]]:
    """Return the vehicle with what its number says where nothing was given, and what was taken from it.

    ``study`` saves decoding the number again.
    """
    if not vehicle.vin.strip():
        return vehicle, ()
    number = study.decoding if study else _decode_valid(pack, vehicle.vin)
    if number is None or not number.report.valid:
        return vehicle, ("the vehicle number is not valid, so nothing is taken from it",)
    taken = []
    for name in ("make", "model"):
        given, decoded = getattr(vehicle, name), getattr(number, name)
        if decoded and not given.strip():
            vehicle = replace(vehicle, **{name: decoded})
            taken.append(f"{name} {decoded} taken from the vehicle number")
        elif decoded and decoded.casefold() != given.strip().casefold():
            taken.append(f"the vehicle number says {name} {decoded}, {given} was given and is used")
    start = number.attributes.get("start")
    if isinstance(start, str) and start in STARTS and not vehicle.start:
        vehicle = replace(vehicle, start=start)
        taken.append(f"{start} start taken from the vehicle number")
    year, year_sure = vehicle.year, vehicle.year_sure
    if year is not None and year in number.model_years:
        year_sure = True
    elif number.model_year is not None and not year_sure:
        if year is None or abs(year - number.model_year) == 1:
            year, year_sure = number.model_year, True
            taken.append(f"model year {year} taken from the vehicle number")
        else:
            taken.append(f"the vehicle number says {number.model_year}, {year} was given and is used")
    return replace(vehicle, year=year, year_sure=year_sure), tuple(taken)


def _decode_valid(pack: Pack, vin: str) -> Decoding | None:
    """Return the pack's decode; the command line needs no more, and the public data take a second to load."""
    try:
        return decode_vin(vin, pack.numbers, spans=pack.spans)
    except VehicleError:
        return None


def list_makes(pack: Pack) -> tuple[str, ...]:
    """Return the makes of the pack, in order."""
    return tuple(pack.models)


def list_models(pack: Pack, make: str) -> tuple[str, ...]:
    """Return the models of ``make``, in order."""
    return pack.models.get(make, ())


def record_vehicle(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record the vehicle: fields vin, make, model, year, start, accepted_because, how.

    What the number decodes to fills make, model and year where they were left empty. A missing or wrong
    number needs ``accepted_because``; nothing is corrected silently. ``how`` is how the number came: it
    decides what is suggested, and is not kept.
    """
    entry = Entry(data)
    text = entry.text("vin", limit=40)
    make = _spell(entry.text("make", limit=60), list_makes(desk.pack))
    model = _spell(entry.text("model", limit=60), list_models(desk.pack, make))
    year = entry.whole("year", *YEARS)
    start = entry.choice("start", STARTS, required=False)
    because = entry.text("accepted_because", limit=300)
    entry.choice("how", HOWS, required=False)
    study = _study(entry, desk, text)
    valid = study is not None and study.report.valid
    if study and study.decoding:
        _find_conflicts(entry, study.decoding, make=make, year=year, because=because)
    if not valid and not because:
        _refuse_number(entry, study)
    entry.finish()
    vin = study.report.vin if study else ""
    # What was typed is kept as it is; where it is far from what the number says, that was refused above.
    typed = KeyVehicle(vin, make, model, year, year is not None, start)
    filled, _ = complete_vehicle(typed, desk.pack, study)
    vehicle = Vehicle(
        vin=vin,
        valid=valid,
        make=filled.make,
        model=filled.model,
        year=filled.year,
        start=filled.start,
        source=_name_source(study if valid else None, year),
        accepted_because=because,
    )
    with changing(desk, number, person, "counter") as change:
        before = change.job.vehicle
        change.put(vehicle=vehicle)
        if before is not None and (before.make, before.model) != (vehicle.make, vehicle.model):
            # Another vehicle: the article was chosen for the old one.
            change.put(key=None, refused=(), promise=None, blade=None, ladder=None, pairing=None, proof=())
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
        return _read_number(desk.pack, text)
    except VehicleError as error:
        entry.fault("vin", error.found, error.expected)
        return None


def _refuse_number(entry: Entry, study: NumberStudy | None) -> None:
    problem = study.report.problems[0] if study and study.report.problems else "no number"
    entry.fault(
        "vin" if entry.text("vin", limit=40) else "accepted_because",
        problem,
        "a number that agrees with itself, or the reason why it is accepted as it is",
    )


def _find_conflicts(entry: Entry, decoding: Decoding, *, make: str, year: int | None, because: str) -> None:
    """Note where what was typed and what the number says disagree, unless a reason was given."""
    if because:
        return
    if make and decoding.make and make.casefold() != decoding.make.casefold():
        entry.fault("make", make, f"{decoding.make}, which the number says, or a reason below")
    if year and decoding.model_year and abs(year - decoding.model_year) > 1:
        entry.fault("year", str(year), f"{decoding.model_year}, which the number says, or a reason below")


def _name_source(study: NumberStudy | None, year: int | None) -> str:
    """Return where the model year comes from: the number's source, or ``told``."""
    decoding = study.decoding if study else None
    if study is None or decoding is None:
        return "told"
    # The number's year code leaves years thirty apart; a year that was told and is one of them is sure.
    years = study.report.model_years if decoding.model_year is None else (decoding.model_year,)
    return (decoding.source or "number") if year in (None, *years) and years else "told"
