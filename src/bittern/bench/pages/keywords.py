"""Observations in words, for the Key leg and the log."""

from __future__ import annotations

from bittern.formats.packs import Pack

KIND_WORDS = {
    "fcc_id": "FCC identifier",
    "button_count": "Number of buttons",
    "buttons": "Buttons",
    "start": "How it starts",
    "blade": "Blade",
    "frequency_hz": "Frequency",
    "chip": "Chip",
}
HOW_WORDS = {
    "told": "the customer says so",
    "read-aloud": "read aloud to us",
    "seen": "seen by us",
    "photographed": "seen on a photo",
    "measured": "measured",
}
START_WORDS = {"turn": "by turning a key", "push": "by pressing a button"}
# An answer that the pack does not list is evidence as well.
ANOTHER_BLADE = "none-of-these"


def say_value(pack: Pack, kind: str, value: object, sd: float | None = None) -> str:
    """Return what was observed, in words."""
    if value is None:
        return "asked, cannot be had"
    if kind == "frequency_hz" and isinstance(value, int | float):
        return f"{value / 1e6:.3f} MHz" + (f" ± {sd / 1e6:.3f} MHz" if sd else "")
    if isinstance(value, list | tuple):
        return ", ".join(value)
    if kind == "start":
        return START_WORDS.get(str(value), str(value))
    if kind == "blade":
        if value == ANOTHER_BLADE:
            return "none of the pack's blades"
        return pack.blades[str(value)].title if str(value) in pack.blades else str(value)
    return str(value)
