"""Observations that cannot all be right: which ones, and what is the likeliest way out.

An article is compatible with an observation if the observation is at least a twentieth as likely for it as
for the article of the pack that it fits best: about what one miscounted button or one misread character
leaves, so that slips which happen every day are no conflict, and a measured frequency may be off by some two
and a half standard deviations. A conflict is the smallest set of observations such that each has compatible
articles and no article is compatible with all; what the pack lists for the vehicle counts as one of them. It
is looked for only where no listed article is compatible with everything. An observation that fits an article
of the pack far worse than something unknown is no part of a set: it is said to fit nothing by itself.

Information only: the chances have weighed all of this already.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from bittern.core.phrases import join_words
from bittern.engines.key.posterior import Case, Posterior
from bittern.engines.key.wording import NAMES, name_vehicle, say_chance

Flags = NDArray[np.bool_]

LEAST_SHARE = 0.05
"""Least part of its largest likelihood that leaves an article compatible with an observation."""
# An observation fits nothing in the pack where the best article makes it this much less likely than a key
# that resembles none: below what a wrong name that was only told leaves (Rates.category_wrong).
_UNKNOWN_SHARE = 0.1
_MOST_TOGETHER = 3
_MOST_SENTENCES = 3
# A second way out that is less likely than this is not worth the words.
_WORTH_SAYING = 0.1

_WRONG = {
    "fcc_id": "the identifier was misread",
    "button_count": "the buttons were miscounted",
    "buttons": "a button was overlooked or imagined",
    "start": "turn and push start were mixed up",
    "blade": "the blade was taken for another",
    "frequency_hz": "the frequency was got wrong",
    "chip": "the chip was taken for another",
}
_FOREIGN = "the remote is from another vehicle"
_OUTSIDE = "the article is not in this pack"
_UNLISTED = "the list of fitments lacks an article that fits"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What conflicts are looked for in.

    Attributes
    ----------
    places
        The observations of the case that have a value, each once.
    kinds, names
        Kind of each, and what it is called; with how it was got where there are several of a kind.
    fits
        Shape (observations, entries, 2): compatible with the article, for a vehicle started by turn, by push.
    listed
        Shape (entries, 2): listed for the vehicle with that start.
    unknown
        Shape (observations,): whether it fits nothing in the pack.
    """

    places: tuple[int, ...]
    kinds: tuple[str, ...]
    names: tuple[str, ...]
    fits: Flags
    listed: Flags
    unknown: Flags


def find_conflicts(case: Case, posterior: Posterior) -> tuple[str, ...]:
    """Return a sentence for each smallest set of observations that cannot all be right.

    Parameters
    ----------
    case, posterior
        The judged observations, and the chances after all of them.

    Notes
    -----
    Entries are articles that stand alone and pools of the others, whose likelihoods are those of each of
    their articles.
    """
    evidence = _gather(case)
    sentences = _check_year(case, posterior, evidence)
    if sentences or not (evidence.fits.all(axis=0) & evidence.listed).any() or evidence.unknown.any():
        sentences += _say_unknown(posterior, evidence)
        sentences += _say_sets(case, posterior, evidence)
    return tuple(dict.fromkeys(sentences))[:_MOST_SENTENCES]


def smallest_sets(
    possible: Flags, most: int = _MOST_TOGETHER, enough: int = _MOST_SENTENCES
) -> list[tuple[int, ...]]:
    """Return the smallest sets of two or more columns that no row has all of, small ones first.

    Parameters
    ----------
    possible
        Shape (rows, columns). Columns that no row has are left out of every set.
    most
        Largest size of a set.
    enough
        Larger sets are not looked for once there are this many.

    Examples
    --------
    >>> smallest_sets(np.array([[True, True, False], [False, False, True]]))
    [(0, 2), (1, 2)]
    """
    rows = _distinct_rows(possible)
    columns = np.flatnonzero(rows.any(axis=0)).tolist()
    found: list[tuple[int, ...]] = []
    for size in range(2, most + 1):
        if len(found) >= enough:
            break
        smaller = [set(one) for one in found]
        for group in combinations(columns, size):
            if not any(one.issubset(group) for one in smaller) and not rows[:, group].all(axis=1).any():
                found.append(group)
    return found


def _distinct_rows(table: Flags) -> Flags:
    # As one number a row where they fit, which sorts far quicker than rows.
    if table.shape[1] > 62:
        return np.unique(table, axis=0)
    numbers = table @ (1 << np.arange(table.shape[1], dtype=np.int64))
    return np.asarray(table[np.unique(numbers, return_index=True)[1]], dtype=np.bool_)


def _gather(case: Case) -> Evidence:
    valued: dict[object, int] = {}
    for i, one in enumerate(case.judged):
        if one.observation.value is not None:
            # The same thing twice is one thing that can be right or wrong.
            valued.setdefault((one.observation.kind, repr(one.observation.value)), i)
    places = tuple(sorted(valued.values()))
    kinds = tuple(case.judged[i].observation.kind for i in places)
    entries = len(case.pools)
    fits = np.zeros((len(places), entries, 2), dtype=np.bool_)
    unknown = np.zeros(len(places), dtype=np.bool_)
    for row, (i, kind) in enumerate(zip(places, kinds, strict=True)):
        if kind == "start":
            fits[row] = case.start[i] >= LEAST_SHARE * case.start[i].max()
            continue
        likelihood = case.log_own[i]
        best = float(likelihood.max())
        fits[row] = (likelihood >= best + np.log(LEAST_SHARE))[:, None]
        unknown[row] = best < case.log_other[i] + np.log(_UNKNOWN_SHARE)
    return Evidence(places, kinds, _name_each(case, places), fits, listed_entries(case), unknown)


def _name_each(case: Case, places: Sequence[int]) -> tuple[str, ...]:
    seen = [case.judged[i].observation for i in places]
    kinds = [one.kind for one in seen]
    return tuple(
        f"{NAMES[one.kind]} ({one.how})" if kinds.count(one.kind) > 1 else NAMES[one.kind] for one in seen
    )


def listed_entries(case: Case) -> Flags:
    """Return which entries a fitment names for the vehicle, by start, shape (entries, 2)."""
    named = np.zeros((len(case.pools), 2), dtype=np.bool_)
    listing, pools = case.listing, case.pools
    alone = len(pools.places)
    at = np.minimum(np.searchsorted(listing.places, pools.places), max(0, len(listing.places) - 1))
    if len(listing.places):
        hit = listing.places[at] == pools.places
        named[:alone][hit] = listing.chance[at[hit]] > 0.0
    # A pool is listed if any of its articles is; those that stand alone are none of it.
    pooled = ~np.isin(listing.places, pools.places)
    for start in (0, 1):
        of = case.index.signatures.of[listing.places[pooled & (listing.chance[:, start] > 0.0)]]
        named[alone:, start] = np.isin(pools.rest, of)
    return named


def _check_year(case: Case, posterior: Posterior, evidence: Evidence) -> list[str]:
    """Return a sentence where the pack lists the model, but not of this year."""
    vehicle, index = case.vehicle, case.index
    if vehicle.year is None or not (vehicle.make or vehicle.model) or evidence.listed.any():
        return []
    rows = index.rows_of(index.groups_of(vehicle.make, vehicle.model))
    if not len(rows):
        return []
    first, last = int(index.rows.year_from[rows].min()), int(index.rows.year_to[rows].max())
    name = " ".join(word for word in (vehicle.make, vehicle.model) if word)
    return [
        f"The year {vehicle.year} does not go with what the pack lists for {name}, {first} to {last};"
        f" the chance that the article is not in this pack is {say_chance(posterior.p_outside)}."
    ]


def _say_unknown(posterior: Posterior, evidence: Evidence) -> list[str]:
    members = np.flatnonzero(evidence.unknown).tolist()
    if not members:
        return []
    names = [evidence.names[i] for i in members]
    ways = _weigh_ways(posterior, evidence, members, against_listing=False)
    return [f"{_capital(join_words(names))} {_fit(names)} nothing in this pack; {_say_ways(ways)}."]


def _say_sets(case: Case, posterior: Posterior, evidence: Evidence) -> list[str]:
    """Return a sentence for each smallest set; those that only the vehicle's listing refuses, together."""
    count = len(evidence.places)
    known = np.vstack([evidence.fits, evidence.listed[None]])
    table = known.reshape(count + 1, -1).T
    # What fits nothing goes with nothing else; to say so of every pair would say it again.
    table[:, :-1] &= ~evidence.unknown
    if not name_vehicle(case.vehicle):
        # Nothing is known of the vehicle: that it is not listed would say nothing.
        table[:, -1] = True
    groups = smallest_sets(table)
    sentences = [
        _say_set(case, posterior, evidence, group)
        for group in groups
        if not (len(group) == 2 and group[-1] == count)
    ]
    alone = tuple(group[0] for group in groups if len(group) == 2 and group[-1] == count)
    return ([_say_apart(case, posterior, evidence, alone)] if alone else []) + sentences


def _say_set(case: Case, posterior: Posterior, evidence: Evidence, group: Sequence[int]) -> str:
    count = len(evidence.places)
    members = tuple(i for i in group if i < count)
    names = [evidence.names[i] for i in members]
    if len(set(names)) < len(names):
        kinds = dict.fromkeys(evidence.kinds[i] for i in members)
        number = {2: "two", 3: "three"}[len(members)]
        subject = f"{number} answers about {join_words([NAMES[kind] for kind in kinds])}"
    else:
        subject = join_words(names)
    listing = len(members) < len(group)
    of = f" that is listed for {name_vehicle(case.vehicle)}" if listing else ""
    ways = _weigh_ways(posterior, evidence, members, against_listing=listing)
    both = "both" if len(members) == 2 else "all"
    return f"{_capital(subject)} cannot {both} be right for any article{of}; {_say_ways(ways)}."


def _say_apart(case: Case, posterior: Posterior, evidence: Evidence, members: tuple[int, ...]) -> str:
    names = list(dict.fromkeys(evidence.names[i] for i in members))
    where = _find_elsewhere(case, posterior, evidence, members)
    ways = _weigh_ways(posterior, evidence, members, against_listing=True)
    vehicle = name_vehicle(case.vehicle)
    return (
        f"{_capital(join_words(names))} {_fit(names)} no article that is listed for {vehicle}{where};"
        f" {_say_ways(ways)}."
    )


def _find_elsewhere(case: Case, posterior: Posterior, evidence: Evidence, members: tuple[int, ...]) -> str:
    """Return which article is meant and what it is listed for, where an identifier names one."""
    if "fcc_id" not in {evidence.kinds[i] for i in members}:
        return ""
    fitting = np.asarray(evidence.fits[list(members)].all(axis=2).all(axis=0), dtype=np.bool_)
    alone = np.flatnonzero(fitting[: len(case.pools.places)])
    if not len(alone) or fitting[len(case.pools.places) :].any():
        return ""
    best = int(alone[np.argmax(posterior.p_article[alone])])
    article = case.index.articles[int(case.pools.places[best])].article
    listed = {f"{row.make} {row.model}": None for row in case.index.rows_of_article(article)}
    return f", but {article}, which is listed for {join_words(list(listed)[:2])}" if listed else ""


def _weigh_ways(
    posterior: Posterior, evidence: Evidence, members: Sequence[int], *, against_listing: bool
) -> dict[str, float]:
    """Return the ways out with their chances.

    Notes
    -----
    They are the model's hidden causes: the start was mixed up; else the key shown is of another kind than the
    vehicle's; or its article is none of the pack; or it is the vehicle's own and in the pack, and either the
    listing lacks the article or an observation of the key is wrong.
    """
    starts = [i for i in members if evidence.kinds[i] == "start"]
    keys = [i for i in members if evidence.kinds[i] != "start"]
    right = evidence.fits[starts].all(axis=0).all(axis=0) if starts else np.ones(2, dtype=np.bool_)
    by_start = posterior.article * right
    article, outside = by_start.sum(axis=1), float((posterior.outside * right).sum())
    own = posterior.own_given_article
    ways: dict[str, float] = {_OUTSIDE: outside * (posterior.own_given_outside if keys else 1.0)}
    if starts:
        ways[_WRONG["start"]] = 1.0 - float(article.sum()) - outside
    if keys:
        ways[_FOREIGN] = float(article @ (1.0 - own)) + outside * (1.0 - posterior.own_given_outside)
    if against_listing:
        # What fits all of a set that goes against the listing is not listed, or there were no conflict.
        fitting = evidence.fits[keys].all(axis=0) if keys else np.ones_like(evidence.listed)
        unlisted = (by_start * fitting).sum(axis=1)
        ways[_UNLISTED] = float(unlisted @ own if keys else unlisted.sum())
    for kind in dict.fromkeys(evidence.kinds[i] for i in keys):
        same = [i for i in keys if evidence.kinds[i] == kind]
        wrong = (evidence.unknown[same, None] | ~evidence.fits[same, :, 0]).any(axis=0)
        ways[_WRONG[kind]] = float((article * own)[wrong].sum())
    return ways


def _say_ways(ways: dict[str, float]) -> str:
    ranked = sorted(ways.items(), key=lambda item: -item[1])
    said = [f"{way} ({say_chance(chance)})" for way, chance in ranked[:2]]
    two = len(ranked) > 1 and ranked[1][1] >= _WORTH_SAYING
    return f"most likely {' or '.join(said if two else said[:1])}"


def _fit(names: Sequence[str]) -> str:
    return "fits" if len(names) == 1 and not names[0].startswith(NAMES["buttons"]) else "fit"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
