"""What the page of a difference between two versions shows."""

from __future__ import annotations

from typing import Any

from bittern.work.ports import Desk
from bittern.work.sheet_difference import describe_changes, find_grave_changes, list_lines
from bittern.work.sheets import get_version

LINE_WORDS = {"gone": "taken out", "new": "new", "same": "", "gap": ""}


def build_difference(desk: Desk, sheet_id: str, before: int, after: int) -> dict[str, Any]:
    """Return the context of the page; NoSuchSheetError."""
    old, new = get_version(desk, sheet_id, before), get_version(desk, sheet_id, after)
    first, second = old.read(), new.read()
    return {
        "sheet_id": sheet_id,
        "sheet": second,
        "before": old,
        "after": new,
        "changes": describe_changes(first, second),
        "grave": find_grave_changes(first, second),
        "lines": [(line, LINE_WORDS[line.kind]) for line in list_lines(first, second)],
    }
