"""Which number was meant: all that one slip could have turned into the text, ranked by posterior.

Model
-----
``P(number | text) ~ P(text | number) * prior(number)``. The first factor is the character channel. The prior:

- Numbers that begin with 1 to 5 have the right check digit (49 CFR 565.15), so each that passes weighs
eleven times an
  average one and each that fails nothing. Of the others we take half to follow the same rule (from memory:
  those built for North America), so passing weighs 6 and failing 0.5.
- A manufacturer identifier that nobody holds weighs little, for data are never complete.
- A number whose last four characters are not all digits weighs little (ISO 3779, from memory), and so does
one that
  does not fit what its maker reported, where that is known.
- Numbers two or more slips away are not listed, but their share of the probability is kept back, so what is
listed
  sums to less than one.

What it cannot see: whether such a vehicle was ever built. Suggest; never replace silently.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass

from bittern.core.channel import CHANNEL_BY_HOW, CONFUSIONS, UNREADABLE, ChannelRates, log_p_read
from bittern.data.tables import model_year_codes
from bittern.engines.vehicle.number import (
    LENGTH,
    NEVER_USED,
    NORTH_AMERICA,
    VIN_ALPHABET,
    compute_check_digit,
    find_wmi,
    normalise_vin,
)

DIGITS = "0123456789"


@dataclass(frozen=True, slots=True)
class SuggestionPriors:
    """The weights of the prior; all ours, from memory or by judgement, with the reason for each.

    Attributes
    ----------
    follows_check
        Share of numbers from outside North America that carry the North American check digit: many makers
        have one numbering for all markets, many do not.
    unknown_maker
        Weight of an identifier that is not in the data, which lag behind and hold mostly one market. A
        hundredth puts about a tenth of all vehicles there, since unused identifiers are ten times as many
        as used ones.
    odd_serial
        Weight of a number with a letter among its last four characters.
    misfit
        Weight of a number that does not fit what its maker reported: option codes are reported incompletely.
    smallest_p
        What is less probable is not listed.
    """

    follows_check: float = 0.5
    unknown_maker: float = 0.01
    odd_serial: float = 0.05
    misfit: float = 0.1
    smallest_p: float = 1e-4


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A number that could have been meant, its posterior probability, and where it differs from the text."""

    vin: str
    probability: float
    changes: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {"vin": self.vin, "probability": self.probability, "changes": list(self.changes)}


def suggest_vins(
    text: str,
    known_wmis: Collection[str] = (),
    *,
    rates: ChannelRates = CHANNEL_BY_HOW["seen"],
    fitting: Callable[[Iterable[str]], Collection[str]] | None = None,
    priors: SuggestionPriors | None = None,
    limit: int = 100,
) -> tuple[Suggestion, ...]:
    """Return the numbers that could have been meant by ``text``, best first.

    Parameters
    ----------
    text
        16 to 18 characters as read; ``?`` stands for one that nobody could read, at most two of them.
    known_wmis
        Identifiers of real makers, three or six characters; empty where none are at hand.
    rates
        How the text was read.
    fitting
        Returns those of the given numbers that fit what their maker reported; None where that is not at hand.
    priors
        Weights of the prior.
    limit
        Most suggestions returned.

    Returns
    -------
    tuple of Suggestion
        Empty where no number within one slip could be true. A text that is itself a possible number is
        among them, with no changes.

    Raises
    ------
    NotANumberError
        The text is empty or over 100 characters.

    Examples
    --------
    >>> suggest_vins("1MBGDM9AXKP042788")[0].changes
    ('position 3: B → 8',)
    """
    weights = priors or SuggestionPriors()
    read, _ = normalise_vin(text)
    candidates = sorted(set(_find_candidates(read)))
    if not candidates:
        return ()
    prior = {vin: _weigh(vin, known_wmis, weights) for vin in candidates}
    possible = [vin for vin in candidates if prior[vin] > 0.0]
    fits = frozenset(fitting(possible)) if fitting else frozenset(possible)
    for vin in possible:
        prior[vin] *= 1.0 if vin in fits else weights.misfit
    scores = {vin: math.exp(log_p_read(vin, read, rates)) * prior[vin] for vin in possible}
    total = sum(scores.values())
    total += _weigh_farther(read, prior, total, rates)
    ranked = sorted(possible, key=lambda vin: (-scores[vin], vin))
    return tuple(
        Suggestion(vin, scores[vin] / total, describe_changes(read, vin))
        for vin in ranked[:limit]
        if scores[vin] >= total * weights.smallest_p
    )


def describe_changes(read: str, vin: str) -> tuple[str, ...]:
    """Return in words what has to be changed in ``read`` to get ``vin``; positions are those of ``vin``.

    >>> describe_changes("1G", "G1")
    ('positions 1 and 2 exchanged: 1G → G1',)
    """
    places = [i for i, (a, b) in enumerate(zip(read, vin, strict=False)) if a != b]
    if len(read) == len(vin):
        if len(places) == 2 and places[1] == places[0] + 1:
            i, j = places
            if read[i] == vin[j] and read[j] == vin[i]:
                return (f"positions {i + 1} and {j + 1} exchanged: {read[i : j + 1]} → {vin[i : j + 1]}",)
        return tuple(f"position {i + 1}: {read[i]} → {vin[i]}" for i in places)
    place = places[0] if places else min(len(read), len(vin))
    if len(read) < len(vin):
        return (f"position {place + 1}: {vin[place]} put in",)
    return (f"position {place + 1}: {read[place]} taken out",)


def _find_candidates(read: str) -> Iterator[str]:
    """Yield every number of 17 legal characters within one slip of ``read``; repeats are possible.

    Characters that no number contains are certain slips, so they are mended first and one more slip is
    allowed.
    """
    if any(c not in VIN_ALPHABET and c not in NEVER_USED and c != UNREADABLE for c in read):
        return
    certain = [i for i, c in enumerate(read) if c not in VIN_ALPHABET]
    unread = read.count(UNREADABLE)
    if len(read) not in (LENGTH - 1, LENGTH, LENGTH + 1) or unread > 2 or len(certain) > 4:
        return
    mended = _mend(read, certain)
    if len(read) == LENGTH:
        yield from mended
        if unread:
            return
        if len(certain) == 1:
            yield from (read[: certain[0]] + c + read[certain[0] + 1 :] for c in VIN_ALPHABET)
        yield from _one_slip(mended[0])
    elif not unread:
        for base in mended[:2]:
            if len(base) < LENGTH:
                yield from (base[:i] + c + base[i:] for i in range(LENGTH) for c in VIN_ALPHABET)
            else:
                yield from (base[:i] + base[i + 1 :] for i in range(LENGTH + 1))


def _mend(read: str, certain: list[int]) -> list[str]:
    """Return ``read`` with each illegal character as each legal one it is taken for, the likeliest first."""
    mended = [read]
    for i in certain:
        mended = [text[:i] + c + text[i + 1 :] for text in mended for c in _find_legal(read[i])]
    return mended


def _find_legal(character: str) -> str:
    if character == UNREADABLE:
        return VIN_ALPHABET
    alike = {c for group in CONFUSIONS if character in group for c in group if c in VIN_ALPHABET}
    first = NEVER_USED[character]
    return first + "".join(sorted(alike - {first}))


def _one_slip(text: str) -> Iterator[str]:
    for i in range(LENGTH):
        yield from (text[:i] + c + text[i + 1 :] for c in VIN_ALPHABET)
        if i + 1 < LENGTH:
            yield text[:i] + text[i + 1] + text[i] + text[i + 2 :]


def _weigh(vin: str, known_wmis: Collection[str], priors: SuggestionPriors) -> float:
    """Return the prior of ``vin`` relative to an average string of 17 legal characters."""
    passes = vin[8] == compute_check_digit(vin)
    if vin[0] in NORTH_AMERICA:
        weight = 11.0 if passes and vin[9] in model_year_codes() else 0.0
    else:
        weight = 11.0 * priors.follows_check * passes + (1.0 - priors.follows_check)
    if known_wmis and find_wmi(vin) not in known_wmis:
        weight *= priors.unknown_maker
    if any(character not in DIGITS for character in vin[-4:]):
        weight *= priors.odd_serial
    return weight


def _weigh_farther(read: str, prior: Mapping[str, float], nearer: float, rates: ChannelRates) -> float:
    """Return the score of all numbers farther away than the candidates, which are not listed one by one.

    Slips are taken as a Poisson count, independent of those that are certain, and numbers farther away as
    weighing on average what the candidates weigh.
    """
    a_character = rates.look_alike + rates.sound_alike + rates.mistaken + rates.swapped
    mean = LENGTH * (a_character + rates.lost + rates.doubled + rates.inserted)
    if len(read) != LENGTH or UNREADABLE in read:  # no slip was allowed beyond the certain one
        return nearer * math.expm1(mean)
    mended = _mend(read, [i for i, c in enumerate(read) if c not in VIN_ALPHABET])
    p_certain = sum(math.exp(log_p_read(vin, read, rates)) for vin in mended)
    return p_certain * (math.expm1(mean) - mean) * sum(prior.values()) / len(prior)
