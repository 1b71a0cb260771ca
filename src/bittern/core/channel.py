"""The character channel: how an identifier changes between the label and the form.

A vehicle number, an FCC identifier or a label's print is read by a person or a camera, said over a
telephone, written down. :func:`log_p_read` says how likely a reading is when the truth is known; an engine
turns that round with Bayes' rule.

Model
-----
The truth is a string of symbols: capitals, digits, and one separator symbol for any hyphen, space, dot,
colon or slash.

1. With ``prefix`` something like "FCC ID" is put in front.
2. With ``end_lost`` the text breaks off early, all places equally likely; with ``start_lost`` its beginning
   is missing.
3. Before every symbol, and at the end, extra ones may slip in: a character (``inserted``, uniform) or a
   separator (``separator_added``), each again and again.
4. Each character is lost (``lost``), written twice (``doubled``), exchanged with its right neighbour
   (``swapped``, at most once in a text), taken for one that looks alike (``look_alike``) or sounds alike
   (``sound_alike``), taken for any other (``mistaken``), or kept. A separator is lost with
   ``separator_lost``, or kept.

All ways from truth to reading are summed by a forward recursion. The choices at each point sum to one, so
the probabilities of all readings sum to one but for what both ends lost at once and a swap across a break
would add (below 1 %).

What it cannot see: errors that depend on each other, such as a thumb over half a label (only its ends are
modelled), a keyboard's neighbours, two characters joined into one, or two swaps in one text.

Rates are starting values of ours, set from experience of the kinds of error ("common practice"), not
measured. They are plain data and are meant to be replaced by rates learned from finished jobs.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
SEPARATOR = "-"
UNREADABLE = "?"
"""Stands in a reading for one character that could not be made out; it is summed over."""

CONFUSIONS: tuple[str, ...] = ("O0QD", "I1L", "S5", "B8", "Z2", "G6", "UV")
"""Characters that look alike in print, in a worn moulding or in handwriting (common practice)."""

SOUNDS: tuple[str, ...] = ("BPDTVEGCZ3", "MN", "FSX", "AHK8", "IY", "QU")
"""Characters whose English names sound alike on a telephone (common practice)."""

PREFIXES: tuple[str, ...] = ("FCC-ID-", "FCC-ID", "FCCID-", "FCCID", "FCC-", "FCC", "ID-", "VIN-", "VIN")
"""What people put before an identifier, in normal form (see :func:`normalise_reading`)."""

_SEPARATORS = frozenset(" -‐‑‒–—−_.,:;/\\·'\"()#\t\n\r\u00a0")


@dataclass(frozen=True, slots=True)
class ChannelRates:
    """How often each kind of error happens; every field is a probability.

    Attributes
    ----------
    look_alike, sound_alike
        Per character that has look-alikes (sound-alikes): it is taken for one of them, all equally likely.
    mistaken
        Per character: it is taken for any other of the alphabet, all equally likely.
    swapped
        Per neighbouring pair: written in the wrong order. At most one pair in a text.
    lost, doubled
        Per character.
    inserted
        Per place between characters: a character that is not on the label.
    end_lost, start_lost
        Per text: its end (its beginning) is missing.
    separator_lost
        Per hyphen or space of the truth: left out.
    separator_added
        Per place between characters: a hyphen or space that is not on the label, as in groups of three.
    prefix
        Per text: something like "FCC ID" stands before it.
    alphabet
        The characters a reader may write.
    """

    look_alike: float = 0.010
    sound_alike: float = 0.0
    mistaken: float = 0.002
    swapped: float = 0.001
    lost: float = 0.003
    doubled: float = 0.001
    inserted: float = 0.001
    end_lost: float = 0.03
    start_lost: float = 0.005
    separator_lost: float = 0.40
    separator_added: float = 0.02
    prefix: float = 0.10
    alphabet: str = ALPHABET

    def __post_init__(self) -> None:
        for name in self.__slots__:
            value = getattr(self, name)
            if name != "alphabet" and not 0.0 <= value < 1.0:
                raise ValueError(f"rate {name} is {value}, expected 0 or more and less than 1")
        total = self.look_alike + self.sound_alike + self.mistaken + self.swapped + self.lost + self.doubled
        if total >= 1.0 or self.inserted + self.separator_added >= 1.0:
            raise ValueError("the rates of one character's errors sum to 1 or more")
        if len(self.alphabet) < 2 or len(set(self.alphabet)) < len(self.alphabet):
            raise ValueError("the alphabet needs two or more characters, each once")


CHANNEL_BY_HOW: Mapping[str, ChannelRates] = MappingProxyType(
    {
        # From memory or hearsay: sounds, wrong order and missing ends.
        "told": ChannelRates(
            look_alike=0.010, sound_alike=0.020, mistaken=0.010, swapped=0.006, lost=0.010, doubled=0.003,
            inserted=0.003, end_lost=0.12, start_lost=0.02, separator_lost=0.60, separator_added=0.03,
            prefix=0.15,
        ),
        # Read from the label over a telephone: the reader's eye, then the listener's ear.
        "read-aloud": ChannelRates(
            look_alike=0.015, sound_alike=0.015, mistaken=0.003, swapped=0.002, lost=0.004, doubled=0.002,
            inserted=0.001, end_lost=0.05, start_lost=0.01, separator_lost=0.50, separator_added=0.03,
            prefix=0.20,
        ),
        # Read and typed by the technician.
        "seen": ChannelRates(),
        # By a camera and a text reader: look-alikes, broken edges, no changes of order.
        "photographed": ChannelRates(
            look_alike=0.020, mistaken=0.003, swapped=0.0001, lost=0.004, doubled=0.0005, inserted=0.002,
            end_lost=0.05, start_lost=0.02, separator_lost=0.15, separator_added=0.03, prefix=0.30,
        ),
        # By a bar-code reader or from the vehicle itself.
        "measured": ChannelRates(
            look_alike=0.0005, mistaken=0.0003, swapped=0.00002, lost=0.0003, doubled=0.0001, inserted=0.0001,
            end_lost=0.005, start_lost=0.002, separator_lost=0.10, separator_added=0.005, prefix=0.10,
        ),
    }
)  # fmt: skip


def normalise_reading(text: str) -> str:
    """Return ``text`` in capitals, each run of separators as one hyphen, anything unknown as ``?``.

    >>> normalise_reading(" fcc id: abc–12x4")
    'FCC-ID-ABC-12X4'
    """
    symbols: list[str] = []
    for character in unicodedata.normalize("NFKC", text).upper():
        if character in _SEPARATORS or character.isspace():
            if symbols and symbols[-1] != SEPARATOR:
                symbols.append(SEPARATOR)
        else:
            symbols.append(character if character in ALPHABET else UNREADABLE)
    return "".join(symbols).rstrip(SEPARATOR)


def log_p_read(truth: str, read: str, rates: ChannelRates = CHANNEL_BY_HOW["seen"]) -> float:
    """Return the natural logarithm of the probability of reading ``read`` where ``truth`` stands.

    Parameters
    ----------
    truth
        The identifier as it is on the article or vehicle; any case, any separators.
    read
        The identifier as it reached us; ``?`` for a character nobody could read.
    rates
        The error rates of the way it came, e.g. ``CHANNEL_BY_HOW["read-aloud"]``.

    Returns
    -------
    float
        At most 0; ``-inf`` where no way leads from one to the other, and for an empty truth or reading.

    Notes
    -----
    Time grows with the product of the lengths, a fraction of a millisecond for a vehicle number; results
    are cached.

    Examples
    --------
    >>> exact = log_p_read("ABC-12X4", "ABC-12X4")
    >>> log_p_read("ABC-12X4", "ABC12X4") < exact           # the hyphen is missing
    True
    >>> log_p_read("ABC-12X4", "ABC-1ZX4") > log_p_read("ABC-12X4", "ABC-17X4")   # 2 looks like Z, not like 7
    True
    """
    return _log_p_normal(normalise_reading(truth), normalise_reading(read), rates)


def log_p_unknown(read: str, rates: ChannelRates = CHANNEL_BY_HOW["seen"], *, longest: int = 20) -> float:
    """Return the log-probability of ``read`` when the truth is some identifier that we do not know.

    The unknown identifier has 1 to ``longest`` characters, every length and every character equally likely,
    so errors in reading it change nothing but a prefix, which is allowed for. It is what a known identifier
    has to beat.
    """
    normal = normalise_reading(read)
    total = (1.0 - rates.prefix) * _p_uniform(normal, rates, longest)
    for form in PREFIXES:
        if normal.startswith(form):
            total += rates.prefix / len(PREFIXES) * _p_uniform(normal[len(form) :], rates, longest)
    return math.log(total) if total > 0.0 else -math.inf


def _p_uniform(symbols: str, rates: ChannelRates, longest: int) -> float:
    characters = [symbol for symbol in symbols if symbol != SEPARATOR]
    if not 1 <= len(characters) <= longest:
        return 0.0
    known = len(characters) - characters.count(UNREADABLE)
    places = len(characters) - 1
    separators = len(symbols) - len(characters)
    # Half of the identifiers have one separator, anywhere; any more were added by the reader.
    p_separators: float = 0.5
    if separators:
        p_separators *= math.pow(rates.separator_added, separators - 1) / max(1, places)
    return p_separators / longest / math.pow(len(rates.alphabet), known)


@lru_cache(maxsize=65536)
def _log_p_normal(truth: str, read: str, rates: ChannelRates) -> float:
    if not truth or not read:
        return -math.inf
    total = (1.0 - rates.prefix) * _p_symbols(truth, read, rates)
    for form in PREFIXES:
        if read.startswith(form) and len(read) > len(form):
            total += rates.prefix / len(PREFIXES) * _p_symbols(truth, read[len(form) :], rates)
    return math.log(total) if total > 0.0 else -math.inf


def _p_symbols(truth: str, read: str, rates: ChannelRates) -> float:
    """Return the sum over all ways from ``truth`` to ``read``, no prefix considered.

    ``plain[j]`` and ``swapped[j]``: the probability of having used the truth up to the present symbol and
    written ``read[:j]``, without and with the one swap.
    """
    n, m = len(truth), len(read)
    breaks = n > 1
    p_extra = [
        rates.separator_added
        if symbol == SEPARATOR
        else rates.inserted / (1 if symbol == UNREADABLE else len(rates.alphabet))
        for symbol in read
    ]
    p_go_on = 1.0 - rates.inserted - rates.separator_added
    # rows[i] are (plain, swapped) after i symbols of the truth; a swap reaches two rows ahead.
    rows = [([0.0] * (m + 1), [0.0] * (m + 1)) for _ in range(n + 1)]
    total = 0.0
    for i in range(n + 1):
        plain, swapped = rows[i]
        ends = (1.0 - rates.end_lost if i == n else rates.end_lost / (n - 1)) if breaks else float(i == n)
        if i < n:
            starts = (
                (1.0 - rates.start_lost if i == 0 else rates.start_lost / (n - 1))
                if breaks
                else float(i == 0)
            )
        # Broken off before this symbol: counted before a start that is lost adds its own weight here.
        for j in range(m):
            plain[j + 1] += plain[j] * p_extra[j]
            swapped[j + 1] += swapped[j] * p_extra[j]
        if i:
            total += ends * p_go_on * (plain[m] + swapped[m])
        if i == n:
            break
        weight = starts
        for j in range(m + 1):
            plain[j] += weight
            weight *= p_extra[j] if j < m else 0.0
            if not weight:
                break
        _step(truth, i, read, rates, p_go_on, rows)
    return total


def _step(
    truth: str,
    i: int,
    read: str,
    rates: ChannelRates,
    p_go_on: float,
    rows: list[tuple[list[float], list[float]]],
) -> None:
    """Use up ``truth[i]`` in every way and add what results to the rows ahead."""
    m = len(read)
    symbol = truth[i]
    if symbol == SEPARATOR:
        for now, ahead in zip(rows[i], rows[i + 1], strict=True):
            for j in range(m + 1):
                p = now[j] * p_go_on
                ahead[j] += p * rates.separator_lost
                if j < m and read[j] == SEPARATOR:
                    ahead[j + 1] += p * (1.0 - rates.separator_lost)
        return
    follower = truth[i + 1] if i + 1 < len(truth) else SEPARATOR
    can_swap = follower != SEPARATOR
    written = p_written(symbol, rates)
    for swap_used in (0, 1):
        now, ahead = rows[i][swap_used], rows[i + 1][swap_used]
        may_swap = can_swap and not swap_used
        # The chance of a swap that cannot happen here stays with the character as it is.
        kept = 0.0 if may_swap else rates.swapped
        for j in range(m + 1):
            p = now[j] * p_go_on
            if p == 0.0:
                continue
            ahead[j] += p * rates.lost
            if j == m:
                continue
            first = read[j]
            ahead[j + 1] += p * (written.get(first, 0.0) + (kept if first in (symbol, UNREADABLE) else 0.0))
            if j + 1 < m:
                second = read[j + 1]
                if first in (symbol, UNREADABLE) and second in (symbol, UNREADABLE):
                    ahead[j + 2] += p * rates.doubled
                if may_swap and first in (follower, UNREADABLE) and second in (symbol, UNREADABLE):
                    rows[i + 2][1][j + 2] += p * rates.swapped


@lru_cache(maxsize=4096)
def p_written(symbol: str, rates: ChannelRates) -> Mapping[str, float]:
    """Return the probability of each single character written for ``symbol``, with ``?`` for their sum.

    Loss, doubling and exchange of neighbours come beside these; ``symbol`` itself stands for the kept one.
    """
    others = [character for character in rates.alphabet if character != symbol]
    if symbol not in rates.alphabet:  # a truth with a character nobody could read: anything may be written
        flat = 1.0 - rates.lost - rates.doubled - rates.swapped
        return {**dict.fromkeys(rates.alphabet, flat / len(rates.alphabet)), UNREADABLE: flat}
    written = dict.fromkeys(others, rates.mistaken / len(others))
    used = rates.mistaken
    for groups, rate in ((CONFUSIONS, rates.look_alike), (SOUNDS, rates.sound_alike)):
        alike = {
            c for group in groups if symbol in group for c in group if c != symbol and c in rates.alphabet
        }
        for character in alike:
            written[character] += rate / len(alike)
        used += rate if alike else 0.0
    written[symbol] = 1.0 - used - rates.lost - rates.doubled - rates.swapped
    written[UNREADABLE] = sum(written.values())
    return written
