"""The shop's terms: names on papers, prices, and how sure is sure enough; set by the owner."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from bittern.work.entry import Entry
from bittern.work.people import Person, require
from bittern.work.ports import ShopTerms

UNITS = {"mm": "Millimetres", "inch": "Inches"}
BAR_PERCENT = (50, 99)
MOST_MINUTES = 24 * 60


def read_terms(person: Person, data: Mapping[str, object]) -> ShopTerms:
    """Return the terms that an owner typed.

    Fields: name, town, labour_per_hour, tax_percent, cutting_minutes, proof_minutes, bar_percent, unit.

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
    }
