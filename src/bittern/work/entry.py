"""An entry: what a person typed into a form or put into a file, checked field by field."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

from bittern.core.errors import Fault, shorten
from bittern.work.errors import FieldsError

_WHOLE = re.compile(r"-?[0-9]{1,12}")
_DECIMAL = re.compile(r"[0-9]{1,9}(\.[0-9]{1,6})?")
_YES = {"yes", "on", "true", "1", True}


class Entry:
    """Read the fields of ``data`` one by one; :meth:`finish` raises for all that were wrong."""

    def __init__(self, data: Mapping[str, object]) -> None:
        self._data = data
        self._faults: list[Fault] = []

    def fault(self, name: str, found: object, expected: str) -> None:
        """Note that field ``name`` is wrong."""
        self._faults.append(
            Fault(where=name, found=found if isinstance(found, str) else shorten(found), expected=expected)
        )

    def finish(self) -> None:
        """Raise FieldsError if any field was wrong."""
        if self._faults:
            raise FieldsError(self._faults)

    def text(
        self, name: str, *, expected: str = "some text", required: bool = False, limit: int = 200
    ) -> str:
        """Return the field as stripped text on one line or more, at most ``limit`` characters."""
        raw = self._data.get(name)
        if raw is not None and not isinstance(raw, str | int | float):
            self.fault(name, raw, "text")
            return ""
        value = "" if raw is None else str(raw).strip()
        # Neither a NUL nor half of a surrogate pair can be stored on every database.
        if "\x00" in value or any("\ud800" <= char <= "\udfff" for char in value):
            self.fault(name, "a character that cannot be stored", expected)
            return ""
        if required and not value:
            self.fault(name, "nothing", expected)
        if len(value) > limit:
            self.fault(name, f"{len(value)} characters", f"at most {limit}")
            return value[:limit]
        return value

    def choice(self, name: str, options: Sequence[str], *, required: bool = True) -> str:
        """Return the field if it is one of ``options``."""
        value = self.text(name)
        if not value and not required:
            return ""
        if value not in options:
            self.fault(name, value or "nothing", "one of: " + ", ".join(options))
        return value

    def words(self, name: str, options: Sequence[str] = (), *, expected: str = "") -> tuple[str, ...]:
        """Return a list field; with ``expected`` at least one word must be there."""
        raw = self._data.get(name, [])
        values = [raw] if isinstance(raw, str) else list(raw) if isinstance(raw, list | tuple) else [raw]
        found = tuple(str(value).strip() for value in values if str(value).strip())
        for value in found:
            if options and value not in options:
                self.fault(name, value, "one of: " + ", ".join(options))
        if expected and not found:
            self.fault(name, "nothing", expected)
        return found

    def whole(self, name: str, low: int, high: int, *, required: bool = False) -> int | None:
        """Return the field as a whole number between ``low`` and ``high``."""
        value = self.text(name)
        if not value:
            if required:
                self.fault(name, "nothing", f"a whole number from {low} to {high}")
            return None
        if not _WHOLE.fullmatch(value) or not low <= int(value) <= high:
            self.fault(name, value, f"a whole number from {low} to {high}")
            return None
        return int(value)

    def decimal(self, name: str, low: str, high: str, *, places: int = 2) -> Decimal:
        """Return the field as an exact number from ``low`` to ``high``; the mark may be a comma."""
        value = self.text(name, limit=20).replace(",", ".")
        expected = f"a number from {low} to {high} with at most {places} places"
        number = Decimal(value) if _DECIMAL.fullmatch(value) else Decimal(-1)
        exact = -int(number.as_tuple().exponent) <= places
        if not exact or not Decimal(low) <= number <= Decimal(high):
            self.fault(name, value or "nothing", expected)
            return Decimal(low)
        return number

    def measure(self, name: str, low: float, high: float) -> float | None:
        """Return the field as a number from ``low`` to ``high``; None when it is empty."""
        value = self.text(name, limit=20).replace(",", ".")
        if not value:
            return None
        number = float(value) if _DECIMAL.fullmatch(value) else -1.0
        if not low <= number <= high:
            self.fault(name, value, f"a number from {low:g} to {high:g}, or nothing")
            return None
        return number

    def flag(self, name: str) -> bool:
        """Return whether the box was ticked."""
        value = self._data.get(name)
        return value in _YES if isinstance(value, str | bool) else False
