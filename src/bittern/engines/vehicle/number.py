"""Vehicle identification numbers: form, check digit, manufacturer identifier, model year.

Rules: 49 CFR 565.15 for North America (first character 1 to 5), ISO 3779 elsewhere. ISO 3779 leaves
position 9 to the maker and only recommends a year at position 10, so outside North America neither can make
a number invalid.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from bittern.core.errors import shorten
from bittern.data.tables import letter_values, model_year_codes, position_weights
from bittern.engines.vehicle.errors import NotANumberError

LENGTH = 17
LONGEST_TEXT = 100
"""A longer text is not a number with a slip in it but something else altogether."""

VIN_ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
NEVER_USED = {"I": "1", "O": "0", "Q": "0"}
"""Letters that no number contains, and what stands there most often instead."""

NORTH_AMERICA = "12345"
CYCLE_YEARS = 30
_CHECK = 8
_YEAR = 9
_CYCLE = 6

# A plate often frames the number with stars (common practice).
_BETWEEN = re.compile(r"[\s\-‐‑‒–—−.*]+")
_IN_FRONT = re.compile(r"^VIN[:#=]?")


@dataclass(frozen=True, slots=True)
class CheckDigit:
    """Position 9: what stands there, what the sum asks for, and whether the rule binds this number.

    ``expected`` is None where the sum cannot be formed.
    """

    given: str | None
    expected: str | None
    required: bool

    @property
    def agrees(self) -> bool:
        """Whether given and expected are the same."""
        return self.given is not None and self.given == self.expected


@dataclass(frozen=True, slots=True)
class VinReport:
    """What the rules say about one number.

    Attributes
    ----------
    vin
        The text in capitals without spaces, hyphens and frame marks; nothing else is changed.
    valid
        No rule that binds it is broken. A valid number need not have been given to a vehicle.
    wmi
        World manufacturer identifier: positions 1 to 3, and for a low-volume maker (third character 9)
        positions 12 to 14 after them. None where the text is too short.
    check_digit
        Position 9.
    model_years
        What position 10 can mean, earliest first: one year where the cycle is known, else both.
    problems
        Each rule that is broken, in words.
    notes
        What was done to the text and which rules do not bind.
    proposal
        The number with I, O and Q read as 1, 0 and 0, where that alone makes it valid. A suggestion,
        nothing more.
    """

    vin: str
    valid: bool
    wmi: str | None
    check_digit: CheckDigit
    model_years: tuple[int, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...] = ()
    proposal: str | None = None

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {
            "vin": self.vin,
            "valid": self.valid,
            "wmi": self.wmi,
            "check_digit": {
                "given": self.check_digit.given,
                "expected": self.check_digit.expected,
                "required": self.check_digit.required,
            },
            "model_years": list(self.model_years),
            "problems": list(self.problems),
            "notes": list(self.notes),
            "proposal": self.proposal,
        }


def check_vin(text: str, *, light: bool | None = None) -> VinReport:
    """Return what the rules say about a vehicle number.

    Parameters
    ----------
    text
        As written or read; spaces, hyphens and lower case are allowed.
    light
        True for a passenger car, or a multipurpose vehicle or truck of at most 10,000 lb (4,536 kg): only
        for these does position 7 choose the year's cycle. False for another vehicle, None where it is not
        known: both years are given.

    Raises
    ------
    NotANumberError
        Nothing was given, or a text over 100 characters.

    Examples
    --------
    >>> check_vin("1m8gdm9ax kp042788").valid
    True
    >>> check_vin("1M8GDM9A1KP042788").check_digit
    CheckDigit(given='1', expected='X', required=True)
    """
    vin, notes = normalise_vin(text)
    required = vin[:1] in NORTH_AMERICA
    problems = _find_form_problems(vin)
    expected = compute_check_digit(vin) if not problems else None
    check = CheckDigit(vin[_CHECK] if len(vin) > _CHECK else None, expected, required)
    years = find_model_years(vin, light=light) if len(vin) == LENGTH else ()
    if not problems:
        for fault in _find_rule_faults(vin, check, years):
            (problems if required else notes).append(fault)
    return VinReport(
        vin=vin,
        valid=not problems,
        wmi=find_wmi(vin),
        check_digit=check,
        model_years=years,
        problems=tuple(problems),
        notes=tuple(notes),
        proposal=_propose(vin) if problems else None,
    )


def normalise_vin(text: str) -> tuple[str, list[str]]:
    """Return ``text`` in capitals without anything between the characters, and notes on what was changed."""
    if len(text) > LONGEST_TEXT:
        raise NotANumberError(
            f"{len(text)} characters", "a vehicle number of 17 characters", hint="give it alone"
        )
    notes: list[str] = []
    # Character by character, so that nothing is joined with its neighbour; and only ASCII is put in
    # capitals, for others change their length or come to look like something they are not.
    compatible = "".join(unicodedata.normalize("NFKC", c) for c in text)
    capitals = "".join(c.upper() if c.isascii() else c for c in compatible)
    vin = _BETWEEN.sub("", capitals)
    stripped = _IN_FRONT.sub("", vin)
    if len(vin) > LENGTH and stripped != vin:
        vin = stripped
        notes.append("the word VIN in front was taken away")
    if not vin:
        raise NotANumberError(shorten(text), "a vehicle number of 17 characters")
    if capitals != text:
        notes.append("written in capitals")
    if _BETWEEN.search(text.strip()):
        notes.append("spaces, hyphens and frame marks were taken away")
    return vin, notes


def compute_check_digit(vin: str) -> str:
    """Return the character that 49 CFR 565.15(c) asks for at position 9 of 17 legal characters.

    >>> compute_check_digit("1M8GDM9AXKP042788")
    'X'
    """
    remainder = compute_weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def compute_weighted_sum(vin: str) -> int:
    """Return the sum of value times weight over the 17 positions; position 9 weighs nothing.

    >>> compute_weighted_sum("1M8GDM9AXKP042788")
    351
    """
    values = letter_values()
    return sum(values[c] * weight for c, weight in zip(vin, position_weights(), strict=True))


def find_wmi(vin: str) -> str | None:
    """Return the manufacturer identifier: three characters, six for a low-volume maker, None if cut short.

    >>> find_wmi("1M8GDM9AXKP042788"), find_wmi("ZZ9AB00000H123001")
    ('1M8', 'ZZ9123')
    """
    if len(vin) < 3:
        return None
    if vin[2] == "9" and len(vin) == LENGTH:
        return vin[:3] + vin[11:14]
    return vin[:3]


def find_model_years(vin: str, *, light: bool | None = None) -> tuple[int, ...]:
    """Return the years that position 10 of 17 characters can mean; none for a character that is no year code.

    Position 7 chooses the cycle only for light vehicles under 49 CFR 565.15(b): a digit for 1980 to 2009, a
    letter for 2010 to 2039.

    >>> find_model_years("1M8GDM9AXKP042788"), find_model_years("1M8GDM9AXKP042788", light=True)
    ((1989, 2019), (1989,))
    """
    first = model_year_codes().get(vin[_YEAR])
    if first is None:
        return ()
    if light:
        return (first if vin[_CYCLE] in "0123456789" else first + CYCLE_YEARS,)
    return (first, first + CYCLE_YEARS)


def _find_form_problems(vin: str) -> list[str]:
    problems = []
    if len(vin) != LENGTH:
        problems.append(f"{len(vin)} character{'s'[: len(vin) > 1]}, a vehicle number has 17")
    for position, character in enumerate(vin, start=1):
        if character in NEVER_USED:
            instead = NEVER_USED[character]
            problems.append(
                f"position {position}: {character} is never used in a vehicle number, perhaps {instead}"
            )
        elif character not in VIN_ALPHABET:
            problems.append(
                f"position {position}: {shorten(character)} is neither a digit nor a capital letter"
            )
    return problems


def _find_rule_faults(vin: str, check: CheckDigit, years: tuple[int, ...]) -> list[str]:
    bound = "" if check.required else "; not required here, the number does not begin with 1 to 5"
    faults = []
    if not check.agrees:
        faults.append(f"position 9: {check.given} does not agree, the rest asks for {check.expected}{bound}")
    if not years:
        faults.append(f"position 10: {vin[_YEAR]} is not a model-year code{bound}")
    return faults


def _propose(vin: str) -> str | None:
    proposal = "".join(NEVER_USED.get(character, character) for character in vin)
    return proposal if proposal != vin and check_vin(proposal).valid else None
