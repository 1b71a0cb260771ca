"""Vehicle numbers for invented makes: right in form, check digit and year, and of no real vehicle."""

from __future__ import annotations

from bittern.core.errors import InputError
from bittern.data.tables import model_year_codes
from bittern.engines.vehicle.number import CYCLE_YEARS, compute_check_digit
from bittern.engines.vehicle.pattern import ANY, NumberPattern
from bittern.formats.packs import Pack

FIRST_YEAR, LAST_YEAR = 1980, 2039
LETTER_YEAR = 2010
"""From this model year on position 7 of a light vehicle's number is a letter (49 CFR 565.15(b))."""
WORKS = "H"


def make_number(pack: Pack, make: str, model: str, year: int, serial: int, start: str = "") -> str:
    """Return a number that the pack decodes to ``make`` and ``model`` of ``year``.

    Parameters
    ----------
    serial
        From 0 to 999,999: the last six characters (three for a low-volume maker).
    start
        ``turn`` or ``push``; without it the start that the pack's fitments know for that year.

    Raises
    ------
    InputError
        The pack has no number pattern for such a vehicle, or year or serial are out of range.

    Examples
    --------
    >>> from bittern.demo import PACK_DIR
    >>> from bittern.formats.packs import read_pack
    >>> make_number(read_pack(PACK_DIR), "Quillmoor", "Oxbow", 2021, 4711)
    '1X0G6PA33MH004711'
    """
    if not FIRST_YEAR <= year <= LAST_YEAR or not 0 <= serial <= 999_999:
        raise InputError(
            f"year {year}, serial {serial}", f"{FIRST_YEAR} to {LAST_YEAR}, and 0 to 999999", where="number"
        )
    pattern = _find_pattern(pack, make, model, year, start)
    cycle = "A" if year >= LETTER_YEAR else "1"
    filling = iter(("3", "4", "5", cycle, "3"))
    vds = "".join(
        next_one if wanted == ANY else wanted for wanted, next_one in zip(pattern.vds, filling, strict=True)
    )
    first = FIRST_YEAR + (year - FIRST_YEAR) % CYCLE_YEARS
    code = next(code for code, meaning in model_year_codes().items() if meaning == first)
    ending = f"{serial:06d}" if len(pattern.wmi) == 3 else pattern.wmi[3:] + f"{serial % 1000:03d}"
    blank = f"{pattern.wmi[:3]}{vds}0{code}{WORKS}{ending}"
    return blank[:8] + compute_check_digit(blank) + blank[9:]


def _find_pattern(pack: Pack, make: str, model: str, year: int, start: str) -> NumberPattern:
    starts = (
        [start]
        if start
        else [
            row.start
            for row in pack.fitments
            if (row.make, row.model) == (make, model) and row.year_from <= year <= row.year_to
        ]
    )
    for pattern in pack.numbers:
        if (pattern.make, pattern.model) == (make, model) and (not pattern.start or pattern.start in starts):
            return pattern
    what = f"{make} {model} of {year}" + (f", {start}" if start else "")
    raise InputError(f"no number pattern for {what}", "a vehicle that the pack knows", where="number")
