"""What a column of a supplier's list can mean."""

from __future__ import annotations

from bittern.formats.pack_tables import ARTICLE_COLUMNS, FITMENT_COLUMNS

IGNORE = ""
"""The column is passed over."""
YEARS = "years"
"""First and last year in one cell; the pack has a column for each."""

FIELD_WORDS: dict[str, str] = {
    "article": "Article number",
    "title": "Title",
    "kind": "Kind of key",
    "fcc_id": "FCC identifier",
    "other_id": "Other number on it",
    "frequency_hz": "Frequency",
    "modulation": "Modulation",
    "buttons": "Buttons",
    "blade": "Blade standard",
    "chip": "Chip",
    "battery": "Battery",
    "cost": "Cost",
    "price": "Price",
    "supplier": "Supplier",
    "notes": "Notes",
    "make": "Make",
    "model": "Model",
    "years": "Years, from and to",
    "year_from": "First year",
    "year_to": "Last year",
    "start": "How it starts",
    "trim": "Trim",
    "region": "Region",
    "share": "Share of the vehicles",
    "runsheet": "Run sheet",
}
FIELDS = tuple(FIELD_WORDS)
ARTICLE_FIELDS = ARTICLE_COLUMNS[1:]
"""Fields that say something about an article beside its number."""
FITMENT_FIELDS = tuple(name for name in FITMENT_COLUMNS if name != "article")
IDENTIFIERS = ("article", "fcc_id", "other_id", "blade", "chip", "runsheet")
"""Fields whose digits are no quantity: leading zeros count."""
