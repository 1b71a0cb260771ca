"""Random vehicle numbers, and the two well-known ones that belong to nobody's vehicle any more."""

from __future__ import annotations

from hypothesis import strategies as st

from bittern.engines.vehicle.number import VIN_ALPHABET, compute_check_digit

CLASSIC = "1M8GDM9AXKP042788"
ONES = "11111111111111111"
YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"


def with_check_digit(vin: str) -> str:
    """Return ``vin`` with the check digit that the rest asks for."""
    return vin[:8] + compute_check_digit(vin) + vin[9:]


any_numbers = st.text(VIN_ALPHABET, min_size=17, max_size=17)


@st.composite
def american_numbers(draw: st.DrawFn) -> str:
    """Draw a valid number that begins with 1 to 5."""
    body = draw(any_numbers)
    first = draw(st.sampled_from("12345"))
    year = draw(st.sampled_from(YEAR_CODES))
    return with_check_digit(first + body[1:9] + year + body[10:])
