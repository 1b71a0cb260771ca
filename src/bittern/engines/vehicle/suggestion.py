"""Which number was meant: all that two slips could have turned into the text, ranked by posterior.

Model
-----
``P(number | text) ~ P(text | number) * prior(number)``. The first factor is the character channel, with the
rates of the way the text came. The prior:

- Numbers that begin with 1 to 5 have the right check digit (49 CFR 565.15), so each that passes weighs
  eleven times an average one and each that fails nothing. Of the others we take half to follow the same rule
  (from memory: those built for North America), so passing weighs 6 and failing 0.5.
- A manufacturer identifier that nobody holds weighs little, for data are never complete.
- A number whose last four characters are not all digits weighs little (ISO 3779, from memory), and so does
  one that does not fit what its maker reported or the pack lists, where that is known.

Numbers within two slips are found one by one (:mod:`bittern.engines.vehicle.neighbours`). Those still
farther away are weighed together (:mod:`bittern.engines.vehicle.farther`); they are part of ``p_none``, the
chance that nothing listed was meant. What is listed and ``p_none`` sum to one.

What it cannot see: whether such a vehicle was ever built. Suggest; never replace silently.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bittern.core.channel import ALPHABET, CHANNEL_BY_HOW, UNREADABLE, ChannelRates
from bittern.core.readings import find_p_rows
from bittern.data.tables import letter_values, model_year_codes, position_weights
from bittern.engines.vehicle.changes import Suspicion, describe_changes, find_suspicions
from bittern.engines.vehicle.farther import weigh_farther
from bittern.engines.vehicle.neighbours import Codes, Floats, decode_rows, encode, find_ways
from bittern.engines.vehicle.number import NEVER_USED, NORTH_AMERICA, normalise_vin

Places = NDArray[np.intp]

_CHECK, _YEAR, _LOW_VOLUME = 8, 9, "9"
_CHECK_CODES = encode("0123456789X")
_POWERS = np.array([len(ALPHABET) ** 2, len(ALPHABET), 1])


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
        A twentieth of the vehicles, and about half of all single changes of a true number still fit.
    smallest_p
        What is less probable is not listed.
    considered
        How many numbers, best first by a quick estimate, are weighed exactly; the rest counts as not listed.
    """

    follows_check: float = 0.5
    unknown_maker: float = 0.01
    odd_serial: float = 0.05
    misfit: float = 0.05
    smallest_p: float = 1e-4
    considered: int = 1500


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A number that could have been meant, its posterior probability, and where it differs from the text."""

    vin: str
    probability: float
    changes: tuple[str, ...]

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {"vin": self.vin, "probability": self.probability, "changes": list(self.changes)}


@dataclass(frozen=True, slots=True)
class NumberPosterior:
    """What could have been meant by a text.

    Attributes
    ----------
    read
        The text, normalised.
    suggestions
        Best first; the text itself is among them, with no changes, if it is a possible number.
    suspicious
        Places of the text where a slip was made, likeliest first, over all numbers considered.
    p_none
        The chance that the number meant is not listed.
    """

    read: str
    suggestions: tuple[Suggestion, ...] = ()
    suspicious: tuple[Suspicion, ...] = ()
    p_none: float = 1.0

    @property
    def p_as_read(self) -> float:
        """The probability that the text is right as it stands."""
        return next((one.probability for one in self.suggestions if one.vin == self.read), 0.0)

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {
            "suggestions": [one.as_dict() for one in self.suggestions],
            "suspicious": [one.as_dict() for one in self.suspicious],
            "p_none": self.p_none,
        }


def weigh_numbers(
    text: str,
    known_wmis: Collection[str] = (),
    *,
    rates: ChannelRates = CHANNEL_BY_HOW["seen"],
    fitting: Callable[[Iterable[str]], Collection[str]] | None = None,
    priors: SuggestionPriors | None = None,
    limit: int = 100,
) -> NumberPosterior:
    """Return the numbers that could have been meant by ``text`` and the places where it may be wrong.

    Parameters
    ----------
    text
        15 to 19 characters as read; ``?`` stands for one that nobody could read, at most two of them.
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
    NumberPosterior
        Without suggestions, and ``p_none`` 1, where no number within two slips could be true.

    Raises
    ------
    NotANumberError
        The text is empty or over 100 characters.

    Notes
    -----
    Some 140,000 numbers are within two slips of 17 characters; a text takes about a tenth of a second.

    Examples
    --------
    >>> weigh_numbers("1MBGDM9AXKP042788").suspicious[0].position
    3
    """
    weights = priors or SuggestionPriors()
    read, _ = normalise_vin(text)
    ways = find_ways(read, rates)
    if ways is None:
        return NumberPosterior(read)
    estimates = ways.weights * _weigh(ways.codes, known_wmis, weights)
    best = _find_best(estimates, 2 * weights.considered)
    if not len(best):
        return NumberPosterior(read)
    codes, first = np.unique(ways.codes[best], axis=0, return_index=True)
    kept = np.sort(first)[: weights.considered]  # the best ways come first, so these are the best numbers
    codes, vins = ways.codes[best[kept]], decode_rows(ways.codes[best[kept]])

    def find_prior(codes: Codes) -> Floats:
        return _weigh(codes, known_wmis, weights) * _find_fits(codes, fitting, weights)

    scores = find_p_rows(codes, read, rates) * find_prior(codes)
    # Estimates become scores by the ratio that holds in the lesser half of those weighed exactly: the best
    # were chosen by what the fit says too, the rest were not.
    half = len(kept) // 2
    share = float(scores[half:].sum()) / float(estimates[best[kept[half:]]].sum())
    unweighed = float(estimates.sum()) - float(estimates[best].sum())
    total = float(scores.sum()) + max(0.0, unweighed) * share
    total += weigh_farther(ways, read, rates, find_prior)
    p = scores / total
    order = np.lexsort((np.array(vins), -p))
    listed = [i for i in order[:limit] if p[i] >= weights.smallest_p]
    suggestions = tuple(Suggestion(vins[i], float(p[i]), describe_changes(read, vins[i])) for i in listed)
    certain = [i for i, c in enumerate(read) if c in NEVER_USED or c == UNREADABLE]
    return NumberPosterior(
        read=read,
        suggestions=suggestions,
        suspicious=find_suspicions(read, ((vins[i], float(p[i])) for i in _take_most(order, p)), certain),
        p_none=max(0.0, 1.0 - sum(one.probability for one in suggestions)),
    )


def suggest_vins(
    text: str,
    known_wmis: Collection[str] = (),
    *,
    rates: ChannelRates = CHANNEL_BY_HOW["seen"],
    fitting: Callable[[Iterable[str]], Collection[str]] | None = None,
    priors: SuggestionPriors | None = None,
    limit: int = 100,
) -> tuple[Suggestion, ...]:
    """Return the suggestions of :func:`weigh_numbers` alone.

    >>> suggest_vins("1MBGDM9AXKP042788")[0].changes
    ('position 3: B → 8',)
    """
    return weigh_numbers(
        text, known_wmis, rates=rates, fitting=fitting, priors=priors, limit=limit
    ).suggestions


def _find_fits(
    codes: Codes, fitting: Callable[[Iterable[str]], Collection[str]] | None, priors: SuggestionPriors
) -> Floats:
    """Return 1 for each row that fits what its maker reported, and the weight of a misfit for the others."""
    if fitting is None:
        return np.ones(len(codes))
    vins = decode_rows(codes)
    held = frozenset(fitting(vins))
    return np.array([1.0 if vin in held else priors.misfit for vin in vins])


def _find_best(estimates: Floats, count: int) -> Places:
    """Return the places of the ``count`` largest estimates above 0; of equals the earlier first."""
    places = np.flatnonzero(estimates > 0.0)
    if len(places) > count:
        bar = np.partition(estimates[places], len(places) - count)[len(places) - count]
        places = places[estimates[places] >= bar]
    return places[np.argsort(-estimates[places], kind="stable")][:count]


def _take_most(order: Places, p: Floats, *, share: float = 0.999, most: int = 300) -> Places:
    """Return the first of ``order`` that hold all but a thousandth of the probability in ``p``."""
    reached = np.cumsum(p[order])
    return order[: min(most, int(np.searchsorted(reached, share * reached[-1])) + 1)]


def _weigh(codes: Codes, known_wmis: Collection[str], priors: SuggestionPriors) -> Floats:
    """Return the prior of each row relative to an average string of 17 legal characters."""
    passes = codes[:, _CHECK] == _CHECK_CODES[_sum_values(codes) % 11]
    bound = np.isin(codes[:, 0], encode(NORTH_AMERICA))
    has_year = np.isin(codes[:, _YEAR], encode("".join(model_year_codes())))
    free = 11.0 * priors.follows_check * passes + (1.0 - priors.follows_check)
    weights: Floats = np.where(bound, 11.0 * (passes & has_year), free)
    if known_wmis:
        weights = np.where(_is_known(codes, known_wmis), weights, weights * priors.unknown_maker)
    digits = (codes[:, -4:] < 10).all(axis=1)
    return np.where(digits, weights, weights * priors.odd_serial)


def _sum_values(codes: Codes) -> NDArray[np.int64]:
    table = np.array([letter_values().get(c, 0) for c in ALPHABET])
    return np.asarray(table[codes] @ np.array(position_weights()))


def _is_known(codes: Codes, known_wmis: Collection[str]) -> NDArray[np.bool_]:
    """Say of each row whether its maker is among ``known_wmis``; a low-volume maker has six characters."""
    plain, six = _tabulate_makers(frozenset(known_wmis))
    front = codes[:, :3].astype(np.int64) @ _POWERS
    back = codes[:, 11:14].astype(np.int64) @ _POWERS
    low_volume = codes[:, 2] == ALPHABET.index(_LOW_VOLUME)
    known: NDArray[np.bool_] = plain[front]
    known[low_volume] = np.isin(front[low_volume] * len(plain) + back[low_volume], six)
    return known


@lru_cache(maxsize=8)
def _tabulate_makers(known_wmis: frozenset[str]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Return which identifiers of three characters are known, and the numbers of those of six."""

    def number(texts: Iterable[str]) -> NDArray[np.int64]:
        rows = [encode(text) for text in texts]
        return np.asarray(np.array(rows, dtype=np.int64).reshape(-1, 3) @ _POWERS)

    legal = [wmi for wmi in known_wmis if all(c in ALPHABET for c in wmi)]
    plain = np.zeros(len(ALPHABET) ** 3, dtype=bool)
    plain[number(wmi for wmi in legal if len(wmi) == 3)] = True
    small = [wmi for wmi in legal if len(wmi) == 6]
    return plain, number(wmi[:3] for wmi in small) * len(plain) + number(wmi[3:] for wmi in small)
