"""FCC identifiers: their form, their parts and what is wrong with one.

Notes
-----
Form: grantee code, then product code (47 CFR 2.926(a)). Product code: capitals, numerals and hyphens, at
most 14 characters, hyphens counted (47 CFR 2.926(d)). Grantee code: 3 characters when the first is a
letter, 5 when it is a numeral 2 to 9 (assigned before, and on or after, 1 May 2013: DA 13-669, KDB 204515
D01); no 0 and no 1, which would be read as O and I (same sources). A hyphen printed right after the grantee
code belongs to the product code ("from memory"): the normal form keeps it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from bittern.core.errors import shorten
from bittern.engines.key.errors import FccIdError

PRODUCT_LIMIT = 14
GRANTEE_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
GRANTEE_CHARACTERS = GRANTEE_LETTERS + "23456789"
PRODUCT_CHARACTERS = GRANTEE_LETTERS + "0123456789-"

_PREFIX = re.compile(
    r"(?:^|.*?(?<![0-9A-Z]))(?:CONTAINS\s+)?FCC[\s-]*ID\s*[:.#=]?\s*", re.IGNORECASE | re.DOTALL
)
# What a label says after the identifier: words that stand alone, and the Canadian number: numerals and
# perhaps a letter, a hyphen, a product number ("from memory"). Run together with the identifier only before
# a colon, since I and C are letters of product codes too.
_NEXT = re.compile(
    r"\s+(?:ISED|HVIN|MODEL|MADE|CMIIT|CAN|M/N|P/N|S/N)(?![0-9A-Z]).*"
    r"|\s+IC\s*[:.#=]?\s*[0-9]{3,5}[A-Z]?-.*"
    r"|(?<=[0-9A-Z])IC\s*:\s*[0-9]{1,5}[A-Z]?-.*",
    re.IGNORECASE | re.DOTALL,
)
# Fewer characters are no identifier: what was taken for the label's next words is its own then.
_SHORTEST = 4
_DASHES = str.maketrans(dict.fromkeys("‐‑‒–—−", "-"))


@dataclass(frozen=True, slots=True)
class FccId:
    """An FCC identifier in normal form.

    Attributes
    ----------
    grantee, product
        Its two parts; a hyphen between them is the product code's first character.
    notes
        What was changed to reach the normal form, and what looks odd, in words.
    """

    grantee: str
    product: str
    notes: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The normal form: both parts, hyphens kept."""
        return self.grantee + self.product

    @property
    def bare(self) -> str:
        """The characters alone, to compare labels that differ only in their hyphens."""
        return self.text.replace("-", "")


def strip_prefix(text: str) -> str:
    """Return ``text`` without words such as "FCC ID:" before it, and without what else a label says.

    >>> strip_prefix("Contains FCC ID: KX4-HM22")
    'KX4-HM22'
    >>> strip_prefix("Model 7 FCCIDKX4HM22 IC 1234A-HM22")
    'KX4HM22'
    """
    body = _PREFIX.sub("", text, count=1)
    alone = _NEXT.sub("", body, count=1)
    return alone if sum(character.isalnum() for character in alone) >= _SHORTEST else body


def grantee_length(first: str) -> int | None:
    """Return how long a grantee code is that begins with ``first``, or None where none can.

    >>> grantee_length("K"), grantee_length("2"), grantee_length("0")
    (3, 5, None)
    """
    if first in GRANTEE_LETTERS:
        return 3
    return 5 if first in "23456789" else None


def parse_fcc_id(text: str) -> FccId:
    """Return the identifier written in ``text``.

    Parameters
    ----------
    text
        As printed, typed or said; a prefix, spaces, small letters and long dashes are put right and noted.

    Raises
    ------
    FccIdError
        The text breaks the form. On a worn label usually a 0 or 1 read in the grantee code: the error's
        hint says what it must have been, and nothing is replaced silently.

    Examples
    --------
    >>> parse_fcc_id("FCC ID: 2AA567SAMPL").grantee
    '2AA56'
    """
    notes: list[str] = []
    body = strip_prefix(text)
    if body != text.strip():
        notes.append("prefix left out")
    joined = "".join(body.translate(_DASHES).split())
    if joined != body.strip():
        notes.append("spaces left out or dashes made hyphens")
    normal = joined.upper()
    if normal != joined:
        notes.append("small letters made capitals")
    length = grantee_length(normal[:1]) if normal else None
    if length is None:
        raise FccIdError(shorten(text), "a grantee code that begins with a letter or a numeral 2 to 9")
    grantee, product = normal[:length], normal[length:]
    _check_grantee(grantee, length)
    _check_product(product)
    if "--" in product:
        notes.append("two hyphens in a row are unusual")
    return FccId(grantee, product, tuple(notes))


def is_fcc_id(text: str) -> bool:
    """Return whether ``text`` has the form of an FCC identifier.

    >>> is_fcc_id("KX4-HM22"), is_fcc_id("K04-HM22")
    (True, False)
    """
    try:
        parse_fcc_id(text)
    except FccIdError:
        return False
    return True


def _check_grantee(grantee: str, length: int) -> None:
    if len(grantee) < length:
        raise FccIdError(shorten(grantee), f"a grantee code of {length} characters", where="grantee code")
    wrong = sorted(set(grantee) - set(GRANTEE_CHARACTERS))
    if wrong:
        hint = ""
        if set(wrong) <= {"0", "1"}:
            hint = f"0 and 1 are never used there; it may be {grantee.replace('0', 'O').replace('1', 'I')}"
        raise FccIdError(
            f"{shorten(grantee)} with {' '.join(wrong)}",
            "capitals and 2 to 9",
            where="grantee code",
            hint=hint,
        )


def _check_product(product: str) -> None:
    if not product:
        raise FccIdError("nothing after the grantee code", "a product code", where="product code")
    wrong = sorted(set(product) - set(PRODUCT_CHARACTERS))
    if wrong:
        raise FccIdError(
            f"{shorten(product)} with {' '.join(wrong)}",
            "capitals, numerals and hyphens",
            where="product code",
        )
    if len(product) > PRODUCT_LIMIT:
        raise FccIdError(
            f"{len(product)} characters", f"at most {PRODUCT_LIMIT}, hyphens counted", where="product code"
        )
