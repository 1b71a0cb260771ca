"""The shop's terms: names, prices, how sure is sure enough, what questions and mistakes cost; the owner's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from decimal import Decimal
from typing import Any

from bittern.engines.key.decision import Costs
from bittern.engines.key.evidence import KINDS
from bittern.work.entry import Entry
from bittern.work.people import Person, require
from bittern.work.ports import ShopTerms

UNITS = {"mm": "Millimetres", "inch": "Inches"}
BAR_PERCENT = (50, 99)
RISK_PERCENT = (1, 20)
MOST_MINUTES = 24 * 60
MOST_MONEY = "9999"
MOST_QUESTION_MINUTES = "240"


@dataclass(frozen=True, slots=True)
class CostField:
    """One cost that the owner may set: the field's name, its label, and what it means in a sentence."""

    name: str
    label: str
    means: str


# The names are the engine's own.
COSTS = (
    CostField("per_minute", "A minute of work", "What a minute of yours costs while you look or ask."),
    CostField("wrong_order", "A wrong order", "Return fee and carriage of an article that does not fit."),
    CostField("delay", "Lost days", "What it costs when the right article comes days later."),
    CostField(
        "second_visit", "A second visit", "The customer comes again, or you drive to the vehicle again."
    ),
    CostField(
        "needless_search",
        "A needless search",
        "Looking elsewhere, or losing the sale, though the pack had the article.",
    ),
)
MINUTES = (
    CostField("fcc_id", "The FCC identifier", "Find the label and read it."),
    CostField("button_count", "The number of buttons", "Count them."),
    CostField("buttons", "What is on the buttons", "Make out every symbol."),
    CostField("start", "How it starts", "Ask or look."),
    CostField("blade", "The blade", "Take it out and compare it with the drawings."),
    CostField("frequency_hz", "The frequency", "Measure one press at the bench."),
    CostField("chip", "The chip", "Hold the key to the chip reader."),
)
VISITS = (
    CostField("blade", "The blade", "The key has to lie beside the drawings."),
    CostField("frequency_hz", "The frequency", "The key has to be at the receiver."),
    CostField("chip", "The chip", "The key has to be at the chip reader."),
)
"""Questions whose answer needs the key here; the others can be asked by telephone."""


def read_terms(person: Person, data: Mapping[str, object]) -> ShopTerms:
    """Return the terms that an owner typed.

    Fields: name, town, labour_per_hour, tax_percent, cutting_minutes, proof_minutes, bar_percent, unit,
    cutter_life_min, risk_percent; for each of :data:`COSTS` ``cost_…``, ``minutes_…`` for each question of
    :data:`MINUTES`, ``visit_…`` for each of :data:`VISITS`.

    Raises
    ------
    NotAllowedError
        The person is no owner.
    FieldsError
        A field is wrong; every one is named.
    """
    require(person, "owner")
    entry = Entry(data)
    name = entry.text("name", required=True, expected="the shop's name, as papers show it", limit=80)
    town = entry.text("town", limit=80)
    labour = entry.decimal("labour_per_hour", "0", "9999")
    tax = entry.decimal("tax_percent", "0", "100", places=3)
    cutting = entry.whole("cutting_minutes", 0, MOST_MINUTES, required=True)
    proof = entry.whole("proof_minutes", 0, MOST_MINUTES, required=True)
    bar = entry.whole("bar_percent", *BAR_PERCENT, required=True)
    unit = entry.choice("unit", tuple(UNITS))
    life = entry.whole("cutter_life_min", 1, MOST_MINUTES, required=True)
    risk = entry.whole("risk_percent", *RISK_PERCENT, required=True)
    costs = _read_costs(entry)
    entry.finish()
    return ShopTerms(
        name=name,
        town=town,
        labour_per_hour=labour,
        tax_percent=tax,
        cutting_minutes=cutting or 0,
        proof_minutes=proof or 0,
        bar=(bar or BAR_PERCENT[1]) / 100,
        unit=unit,
        cutter_life_min=life or 1,
        inspection_risk=(risk or RISK_PERCENT[0]) / 100,
        costs=costs,
    )


def write_terms(terms: ShopTerms) -> dict[str, str]:
    """Return the fields of :func:`read_terms` that give ``terms``."""
    return {
        "name": terms.name,
        "town": terms.town,
        "labour_per_hour": f"{terms.labour_per_hour:.2f}",
        "tax_percent": f"{Decimal(terms.tax_percent).normalize():f}",
        "cutting_minutes": str(terms.cutting_minutes),
        "proof_minutes": str(terms.proof_minutes),
        "bar_percent": str(round(100 * terms.bar)),
        "unit": terms.unit,
        "cutter_life_min": str(terms.cutter_life_min),
        "risk_percent": str(round(100 * terms.inspection_risk)),
        **write_costs(terms.costs),
    }


def write_costs(costs: Costs) -> dict[str, str]:
    """Return the fields of :func:`read_terms` that give ``costs``."""
    return {
        **{f"cost_{one.name}": f"{getattr(costs, one.name):.2f}" for one in COSTS},
        **{f"minutes_{one.name}": f"{costs.minutes.get(one.name, 0.0):g}" for one in MINUTES},
        **{f"visit_{one.name}": f"{costs.visit.get(one.name, 0.0):.2f}" for one in VISITS},
    }


def unpack_costs(kept: Mapping[str, object]) -> Costs:
    """Return the costs of a kept record; what it does not say is the engine's default."""
    found: dict[str, Any] = {}
    for name, usual in asdict(Costs()).items():
        value = kept.get(name)
        if isinstance(usual, Mapping):
            told = value if isinstance(value, Mapping) else {}
            found[name] = {**usual, **{kind: float(told[kind]) for kind in KINDS if kind in told}}
        else:
            found[name] = usual if value is None else float(str(value))
    return Costs(**found)


def _read_costs(entry: Entry) -> Costs:
    money = {one.name: float(entry.decimal(f"cost_{one.name}", "0", MOST_MONEY)) for one in COSTS}
    minutes = {
        one.name: float(entry.decimal(f"minutes_{one.name}", "0", MOST_QUESTION_MINUTES)) for one in MINUTES
    }
    visit = {one.name: float(entry.decimal(f"visit_{one.name}", "0", MOST_MONEY)) for one in VISITS}
    return unpack_costs({**money, "minutes": minutes, "visit": visit})
