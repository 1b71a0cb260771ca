"""Numbers of suppliers' lists: money with its signs, frequencies with their units, shares."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal

from bittern.formats.tables import format_number
from bittern.work.supplier.cells import Cell
from bittern.work.supplier.words import currency_signs

RADIO_HZ = (2.5e8, 1e9)
"""Where a key's radio lies when no unit is given ("common practice": remotes work from 300 to 930 MHz)."""
MONEY_LIMIT = Decimal(10) ** 9
_UNITS = {"ghz": 9, "mhz": 6, "khz": 3, "hz": 0}
_FREQUENCY = re.compile(r"([0-9][0-9.,'\s]*)\s*(ghz|mhz|khz|hz)?\.?", re.IGNORECASE)
_CODE = re.compile(r"[A-Z]{3}")
_GROUPS = "'\u2019\u00a0\u202f "
_DASHED = re.compile(r"[.,][-–—]{1,2}$")


def find_decimal_sign(texts: Iterable[str]) -> str:
    """Return the decimal sign that a column's amounts agree on: ``.``, ``,``, or nothing where none says.

    An amount says it where both signs stand in it, or one sign stands before a count of digits other than
    three. ``1.234`` alone may be either.

    >>> find_decimal_sign(["1.234", "12,50"]), find_decimal_sign(["1.234"])
    (',', '')
    """
    said = {sign for text in texts if (sign := _say_decimal_sign(text))}
    return said.pop() if len(said) == 1 else ""


def _say_decimal_sign(text: str) -> str:
    body = "".join(c for c in text if c in "0123456789.,")
    point, comma = body.rfind("."), body.rfind(",")
    if point >= 0 and comma >= 0:
        return "." if point > comma else ","
    place = max(point, comma)
    if place < 0 or body.count(body[place]) > 1:
        return ""
    return "" if len(body) - place - 1 == 3 else body[place]


def read_decimal(text: str, sign: str) -> Decimal | None:
    """Return the number in ``text``, or None where it is none or may be two.

    >>> read_decimal("1.234,50", ""), read_decimal("1.234", ","), read_decimal("1.234", "")
    (Decimal('1234.5'), Decimal('1234'), None)
    """
    body = "".join(c for c in text.strip() if c not in _GROUPS)
    if not body or not all(c in "0123456789.," for c in body) or not body.isascii():
        return None
    own = _say_decimal_sign(body)
    point, comma = body.count("."), body.count(",")
    if not own:
        if point + comma == 1:
            if not sign:
                return None
            own = sign
        else:
            # No sign at all, or one that stands several times and so parts thousands.
            own = "," if point else "."
    whole, _, part = body.partition(own)
    other = "," if own == "." else "."
    if own in part or other in part or not re.fullmatch(rf"\d+|\d{{1,3}}(?:\{other}\d{{3}})+", whole or "0"):
        return None
    return Decimal(f"{whole.replace(other, '') or '0'}.{part or '0'}").normalize()


def read_money(text: str, currency: str, sign: str) -> Cell:
    """Return an amount in the pack's currency.

    >>> read_money("€ 12,5", "EUR", ",").value
    '12.50'
    """
    body = _DASHED.sub("", text.strip())
    marks: list[str] = []
    for code in _CODE.findall(body):
        body = body.replace(code, " ")
        marks.append(code)
    for mark in sorted(currency_signs(), key=len, reverse=True):
        if mark in body:
            body = body.replace(mark, " ")
            options = currency_signs()[mark]
            marks.append(currency if currency in options else options[0])
    wrong = [mark for mark in marks if mark != currency]
    if wrong:
        return Cell(expected=f"an amount in {currency}, the currency of the pack")
    amount = read_decimal(body, sign)
    if amount is None:
        unsure = " with two decimals: the sign in it may part thousands or decimals"
        clear = not re.fullmatch(r"\d{1,3}[.,]\d{3}", body.strip())
        return Cell(expected="an amount such as 12.50" + ("" if clear else unsure))
    exact = amount.quantize(Decimal("0.0001"))
    if exact != amount or amount >= MONEY_LIMIT:
        return Cell(expected="an amount of at most four decimals")
    value = f"{amount:f}" if -amount.as_tuple().exponent > 2 else f"{amount:.2f}"  # type: ignore[operator]
    return Cell(value, f"taken for {currency}" if marks and _CODE.search(text) is None else "")


def read_frequency(text: str, unit: str, sign: str) -> Cell:
    """Return a frequency in hertz.

    Parameters
    ----------
    unit
        The unit that the column's header names, if any; one in the cell goes before it. Without either the
        unit is the one of MHz, kHz and Hz that puts the number among the radios of keys.

    Examples
    --------
    >>> read_frequency("433,92 MHz", "", ",").value, read_frequency("315", "", "").value
    ('433920000', '315000000')
    """
    expected = "a frequency such as 433.92 MHz"
    found = _FREQUENCY.fullmatch(text.strip())
    if not found:
        return Cell(expected=expected)
    # "433,920" is one of two numbers: which, its place among the radios of keys must say.
    clear = read_decimal(found[1], sign)
    numbers = [clear] if clear is not None else [read_decimal(found[1], one) for one in ".,"]
    named = (found[2] or unit).lower()
    units = [named] if named else ["hz", "khz", "mhz"]
    read = {
        float(number.scaleb(_UNITS[one])): one for number in numbers if number is not None for one in units
    }
    fitting = [(hertz, one) for hertz, one in read.items() if RADIO_HZ[0] <= hertz <= RADIO_HZ[1]]
    if named and clear is not None:
        fitting = list(read.items())
    if len(fitting) != 1:
        return Cell(expected=expected if named or not read else f"{expected}, with its unit")
    frequency_hz, one = fitting[0]
    note = "" if one == "hz" else f"{_write_unit(one)} made Hz" if named else f"taken for {_write_unit(one)}"
    if not 1e3 <= frequency_hz <= 1e10:
        return Cell(expected=f"{expected}, from 1 kHz to 10 GHz")
    return Cell(format_number(round(frequency_hz, 3)), note)


def _write_unit(unit: str) -> str:
    return unit[:-2].upper() + "Hz" if unit != "khz" else "kHz"


def read_share(text: str) -> Cell:
    """Return a share above 0, at most 1; a percentage is one too.

    >>> read_share("35 %").value, read_share("0,35").value
    ('0.35', '0.35')
    """
    percent = text.rstrip().endswith("%")
    number = read_decimal(text.rstrip("% ").replace(",", "."), ".")
    if number is not None and percent:
        number = number / 100
    if number is None or not 0 < number <= 1:
        return Cell(expected="a share above 0, at most 1, or a percentage")
    return Cell(format_number(float(number)), "percent made a share" if percent else "")
