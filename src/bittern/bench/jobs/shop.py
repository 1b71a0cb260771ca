"""The shop's terms, in a single row."""

from __future__ import annotations

from dataclasses import asdict

from bittern.bench.jobs.models import ShopRecord
from bittern.work.ports import ShopTerms
from bittern.work.shop import unpack_costs


def load_terms() -> ShopTerms:
    """Return what the shop has set, or the defaults."""
    names = list(ShopTerms.__slots__)
    row = ShopRecord.objects.filter(id=1).values(*names).first()
    return ShopTerms(**{**row, "costs": unpack_costs(row["costs"])}) if row else ShopTerms()


def save_terms(terms: ShopTerms) -> None:
    """Keep what the shop has set."""
    ShopRecord.objects.update_or_create(id=1, defaults=asdict(terms))
