"""What the page of one run sheet shows."""

from __future__ import annotations

from typing import Any

from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.sheets import find_in_use, list_versions


def build_sheet(desk: Desk, person: Person, sheet: str) -> dict[str, Any]:
    """Return the context of the page; NoSuchSheetError."""
    versions = list_versions(desk, sheet)
    return {"sheet_id": sheet, "versions": versions, "in_use": find_in_use(versions)}
