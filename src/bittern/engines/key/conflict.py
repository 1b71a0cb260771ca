"""Observations that cannot all be right: which ones, and what is the likeliest way out.

An article is compatible with an observation if the observation is at least a twentieth as likely for it as
for the article of the pack that it fits best: about what one miscounted button or one misread character
leaves, so that slips which happen every day are no conflict, and a measured frequency may be off by some two
and a half standard deviations. A conflict is the smallest set of observations such that each has compatible
articles and no article is compatible with all; it is looked for only where no listed article is compatible
with everything. Information only: the chances have weighed all of this already.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from bittern.core.phrases import join_words
from bittern.engines.key.posterior import Case, Posterior
from bittern.engines.key.wording import NAMES, name_vehicle, say_chance

Flags = NDArray[np.bool_]

LEAST_SHARE = 0.05
_MOST_TOGETHER = 3
_MOST_SENTENCES = 3


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
    places = [i for i, one in enumerate(case.judged) if one.observation.value is not None]
    if not places:
        return ()
    fits = np.array([_compatible(case, i) for i in places])
    listed = np.asarray(case.prior.listed > 0)
    if (fits.all(axis=0) & listed).any():
        return ()
    found: list[tuple[int, ...]] = []
    for size in range(2, _MOST_TOGETHER + 1):
        for group in combinations(range(len(places)), size):
            rows = list(group)
            # A smaller conflict inside says it better.
            if any(set(one) <= set(group) for one in found) or not fits[rows].any(axis=1).all():
                continue
            if not fits[rows].all(axis=0).any():
                found.append(group)
    kinds = [case.judged[i].observation.kind for i in places]
    sentences = [_say_group(case, posterior, fits, kinds, group) for group in found]
    if not sentences:
        sentences = _check_listing(case, posterior, fits, kinds, listed)
    return tuple(dict.fromkeys(sentences))[:_MOST_SENTENCES]


def _compatible(case: Case, observation: int) -> Flags:
    """Return which entries are compatible with one observation."""
    likelihood = case.log_own[observation]
    if case.judged[observation].observation.kind == "start":
        by_start = case.prior.article / np.maximum(case.prior.article.sum(axis=1), 1e-300)[:, None]
        with np.errstate(divide="ignore"):
            likelihood = np.log(by_start @ case.start[observation])
    return np.asarray(likelihood >= likelihood.max() + np.log(LEAST_SHARE), dtype=np.bool_)


def _say_group(
    case: Case, posterior: Posterior, fits: Flags, kinds: list[str], group: tuple[int, ...]
) -> str:
    names = [NAMES[kinds[i]] for i in group]
    if len(set(names)) == 1:
        subject = f"two answers about {names[0]}" if len(group) == 2 else f"all answers about {names[0]}"
        both = "both" if len(group) == 2 else "all"
    else:
        subject, both = join_words(names), "both" if len(group) == 2 else "all"
    explanation = _explain(case, posterior, fits, kinds, group)
    return f"{subject[0].upper()}{subject[1:]} cannot {both} be right for any article; {explanation}."


def _check_listing(
    case: Case, posterior: Posterior, fits: Flags, kinds: list[str], listed: Flags
) -> list[str]:
    """Return sentences on what fits articles of the pack, but none that is listed for the vehicle."""
    vehicle = name_vehicle(case.vehicle)
    if not listed.any() or not vehicle:
        return []
    apart = [i for i in range(len(kinds)) if not (fits[i] & listed).any()]
    if not apart:
        together = [f"{NAMES[kind]}" for kind in dict.fromkeys(kinds)]
        if len(together) < 2:
            return []
        explanation = _explain(case, posterior, fits, kinds, tuple(range(len(kinds))))
        subject = join_words(together)
        return [
            f"{subject[0].upper()}{subject[1:]} together fit no article that is listed for {vehicle};"
            f" {explanation}."
        ]
    sentences = []
    for i in apart:
        name = NAMES[kinds[i]]
        explanation = _explain(case, posterior, fits, kinds, (i,))
        sentences.append(
            f"{name[0].upper()}{name[1:]} fits no article that is listed for {vehicle}; {explanation}."
        )
    return sentences


def _explain(case: Case, posterior: Posterior, fits: Flags, kinds: list[str], group: tuple[int, ...]) -> str:
    """Return the likeliest way out, with its chance.

    The ways are the model's hidden causes: a key of another kind; an article that the pack does not have; a
    listing that lacks the article; or, where the key is the vehicle's own and in the pack, the observation
    that does not go with it was wrong.
    """
    own_and_here = posterior.p_article * posterior.own_given_article
    own_outside = posterior.p_outside * posterior.own_given_outside
    ways = {
        "the remote is from another vehicle": 1.0 - float(own_and_here.sum()) - own_outside,
        "the article is not in this pack": own_outside,
    }
    unlisted = fits.all(axis=0) & ~(case.prior.listed > 0)
    if unlisted.any():
        ways["the list of fitments lacks an article that fits"] = float(own_and_here[unlisted].sum())
    for i in group:
        name = NAMES[kinds[i]]
        was = "were" if name.endswith("s") else "was"
        way = f"{name} {was} got wrong"
        ways[way] = max(ways.get(way, 0.0), float(own_and_here[~fits[i]].sum()))
    way, chance = max(ways.items(), key=lambda item: item[1])
    return f"most likely {way} ({say_chance(chance)})"
