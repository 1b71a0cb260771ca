"""From a vehicle number to make, model and model year: first by the pack's own rows, then by the public data.

Where rows or data are silent or disagree, the field stays None and a note says why; nothing is guessed.
What it cannot see: changes after the factory, and most of what was never sold in the United States.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from bittern.data.vpic import VpicAnswer
from bittern.engines.vehicle.number import LENGTH, VinReport, check_vin
from bittern.engines.vehicle.pattern import NumberPattern

SOURCE_PACK = "pack"
SOURCE_VPIC = "vpic"

Value = str | tuple[str, ...]
Spans = Mapping[tuple[str, str], tuple[int, int]]
"""First and last model year by make and model."""


class VpicLookup(Protocol):
    """Answers from the public data, for example :func:`bittern.data.vpic.look_up`."""

    def __call__(self, vin: str, *, year: int | None = None) -> VpicAnswer:
        """Return what the data say about ``vin``, with ``year`` tried as well."""
        ...


@dataclass(frozen=True, slots=True)
class Decoding:
    """What is known about the vehicle behind a number.

    Attributes
    ----------
    vin
        The number, normalised.
    make, model, model_year
        None where nothing is known or several answers remain; ``notes`` says which.
    attributes
        Everything else, by the source's own names.
    source
        ``pack``, ``vpic``, or None where neither knows the number.
    model_years
        Every year that remains possible.
    notes
        What is silent, ambiguous or doubtful, in words.
    report
        What the rules say about the number itself.
    """

    vin: str
    make: str | None
    model: str | None
    model_year: int | None
    attributes: Mapping[str, Value]
    source: str | None
    model_years: tuple[int, ...]
    notes: tuple[str, ...]
    report: VinReport

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {
            "vin": self.vin,
            "make": self.make,
            "model": self.model,
            "model_year": self.model_year,
            "attributes": {
                name: list(v) if isinstance(v, tuple) else v for name, v in self.attributes.items()
            },
            "source": self.source,
            "model_years": list(self.model_years),
            "valid": self.report.valid,
            "notes": list(self.notes),
        }


@dataclass(slots=True)
class _Draft:
    """One source's answer while it is put together."""

    make: str | None = None
    model: str | None = None
    years: tuple[int, ...] = ()
    attributes: Mapping[str, Value] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def decode_vin(
    vin: str,
    pack_numbers: Iterable[NumberPattern] = (),
    vpic: VpicLookup | None = None,
    *,
    spans: Spans | None = None,
) -> Decoding:
    """Return what the pack and the public data know about ``vin``.

    Parameters
    ----------
    vin
        The number as written; it is normalised but never corrected.
    pack_numbers
        The pack's rows; of those that match, the most specific ones answer.
    vpic
        The public data; None to do without.
    spans
        The model years that the pack lists for its models; they choose between two possible years.

    Raises
    ------
    NotANumberError
        The text is empty or over 100 characters.
    """
    report = check_vin(vin)
    if len(report.vin) != LENGTH or report.check_digit.expected is None:
        return _conclude(report, _Draft(notes=list(report.problems)), None)
    doubts = [f"{problem}; a character may be wrong" for problem in report.problems]
    rows = find_rows(report.vin, pack_numbers)
    if rows:
        draft = _decode_by_rows(report, rows, spans or {})
        draft.notes[:0] = doubts
        if draft.make and vpic:
            _add_vpic(report, draft, vpic)
        return _conclude(report, draft, SOURCE_PACK)
    if vpic is None:
        return _conclude(report, _Draft(notes=[*doubts, "the pack does not know this number"]), None)
    draft = _decode_by_vpic(report, vpic)
    draft.notes[:0] = doubts
    return _conclude(report, draft, SOURCE_VPIC if draft.make or draft.attributes else None)


def gather_spans(rows: Iterable[tuple[str, str, int, int]]) -> dict[tuple[str, str], tuple[int, int]]:
    """Return the first and last model year by make and model, from rows ``make, model, year_from, year_to``.

    >>> gather_spans([("Heron", "Marsh", 2008, 2012), ("Heron", "Marsh", 2010, 2015)])
    {('Heron', 'Marsh'): (2008, 2015)}
    """
    spans: dict[tuple[str, str], tuple[int, int]] = {}
    for make, model, first, last in rows:
        earliest, latest = spans.get((make, model), (first, last))
        spans[make, model] = (min(earliest, first), max(latest, last))
    return spans


def is_light(report: VinReport, answer: VpicAnswer) -> bool | None:
    """Say whether position 7 tells the cycle of the model year: True, False, or None where it is not known.

    The rule binds light vehicles numbered for North America. A number from elsewhere counts as such if its
    check digit agrees and every character is one that the maker reported there; its check digit alone
    agrees by chance one time in eleven.
    """
    if not report.check_digit.agrees or not (report.check_digit.required or answer.fits):
        return None
    return answer.light


def find_rows(vin: str, pack_numbers: Iterable[NumberPattern]) -> tuple[NumberPattern, ...]:
    """Return the matching rows that fix the most characters; several where they tie."""
    matching = [row for row in pack_numbers if row.matches(vin)]
    most = max((row.fixed for row in matching), default=0)
    return tuple(row for row in matching if row.fixed == most)


def _decode_by_rows(report: VinReport, rows: Sequence[NumberPattern], spans: Spans) -> _Draft:
    draft = _Draft()
    makes = _unique(row.make for row in rows)
    if len(makes) > 1:
        draft.notes.append(f"the pack's rows disagree on the make: {_join(makes)}")
        draft.years = report.model_years
        return draft
    draft.make = makes[0]
    models = _unique(row.model for row in rows)
    if len(models) == 1:
        draft.model = models[0]
        attributes: dict[str, Value] = {}
        for name in ("trim", "start"):
            values = _unique(getattr(row, name) for row in rows)
            if len(values) == 1 and values[0]:
                attributes[name] = values[0]
            elif len(values) > 1:
                named = _join(value or "any" for value in values)
                draft.notes.append(f"the pack's rows disagree on the {name}: {named}")
        draft.attributes = attributes
    else:
        draft.notes.append(f"the number fits several models: {_join(models)}")
    sold = [spans[draft.make, model] for model in models if (draft.make, model) in spans]
    within = tuple(y for y in report.model_years if any(first <= y <= last for first, last in sold))
    draft.years = within or report.model_years
    if sold and not within and report.model_years:
        listed = _join(f"{first} to {last}" for first, last in sold)
        draft.notes.append(f"the pack lists the model for {listed}, which the number's year is not in")
    return draft


def _add_vpic(report: VinReport, draft: _Draft, vpic: VpicLookup) -> None:
    """Add what the public data say beyond the pack, where both mean the same make."""
    answer = vpic(report.vin)
    if answer.make is None:
        return
    if answer.make.casefold() != (draft.make or "").casefold():
        draft.notes.append(f"the public data name another make: {answer.make}")
        return
    draft.attributes = {**answer.attributes, **draft.attributes}


def _decode_by_vpic(report: VinReport, vpic: VpicLookup) -> _Draft:
    answer = vpic(report.vin)
    if answer.maker is None:
        return _Draft(
            years=report.model_years,
            notes=[f"neither the pack nor the public data know a maker {report.wmi}"],
        )
    answers = _find_year_answers(report, answer, vpic)
    years = tuple(a.model_year for a in answers if a.model_year is not None)
    draft = _Draft(make=_agreed([a.make for a in answers]), years=years)
    if draft.make is None:
        draft.notes.append(f"the public data know the maker {answer.maker} but not the make")
    draft.model = _agreed([a.model for a in answers])
    if draft.model is None:
        models = _unique(a.model or "unknown" for a in answers)
        several = f"the model depends on the model year: {_join(models)}"
        draft.notes.append(several if len(models) > 1 else "the public data do not know the model")
    draft.attributes = {
        name: value
        for name, value in answers[0].attributes.items()
        if all(other.attributes.get(name) == value for other in answers)
    }
    if draft.model is not None and not all(a.fits for a in answers):
        where = f": {answers[0].possible}" if answers[0].possible else ""
        draft.notes.append(
            f"some characters are not among those the maker reported{where}; confirm the model"
        )
    return draft


def _find_year_answers(report: VinReport, answer: VpicAnswer, vpic: VpicLookup) -> list[VpicAnswer]:
    """Return one answer for each model year that remains possible, at least one.

    For a light vehicle numbered by the North American rule, position 7 tells the cycle, unless the data know
    no such vehicle in that year. Else both years are put to the data, and a year that the data give up for
    the other is out.
    """
    if is_light(report, answer):
        by_rule = check_vin(report.vin, light=True).model_years
        held = _hold_years(report.vin, by_rule, vpic)
        if held:
            return held
    return _hold_years(report.vin, report.model_years, vpic) or [replace(answer, model_year=None)]


def _hold_years(vin: str, years: Iterable[int], vpic: VpicLookup) -> list[VpicAnswer]:
    answers = [(year, vpic(vin, year=year)) for year in years]
    return [answer for year, answer in answers if answer.model_year == year]


def _conclude(report: VinReport, draft: _Draft, source: str | None) -> Decoding:
    years = tuple(sorted(set(draft.years)))
    if draft.make and len(years) > 1:
        draft.notes.append(
            f"the model year is {_join(map(str, years))}; the number alone does not tell which"
        )
    elif draft.make and not years:
        draft.notes.append("the number does not tell the model year")
    return Decoding(
        vin=report.vin,
        make=draft.make,
        model=draft.model,
        model_year=years[0] if draft.make and len(years) == 1 else None,
        attributes=draft.attributes,
        source=source,
        model_years=years,
        notes=tuple(draft.notes),
        report=report,
    )


def _agreed(values: Sequence[str | None]) -> str | None:
    return values[0] if len(set(values)) == 1 else None


def _unique(values: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(values))


def _join(values: Iterable[str]) -> str:
    return " or ".join(values)
