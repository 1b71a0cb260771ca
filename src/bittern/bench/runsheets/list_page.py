"""What the list of run sheets shows."""

from __future__ import annotations

from typing import Any

from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.sheets import get_store, list_sheets_in_use


def build_list(desk: Desk, person: Person) -> dict[str, Any]:
    """Return the context of the page."""
    in_use = list_sheets_in_use(desk)
    return {"sheets": sorted({*in_use, *get_store(desk).names()}), "in_use": in_use}
