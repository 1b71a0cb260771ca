"""Where one stands on the ladders of a plan, from what came of each cutting so far."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from bittern.engines.blade.bitting import Bitting, name_cut
from bittern.engines.blade.standard import BladeStandard

NO, SPOILT, BACK, TURNED = "no", "spoilt", "back", "turned"
"""It did not turn; the blank is spoilt; the last entry was a slip; this one turned."""


@dataclass(frozen=True, slots=True)
class Standing:
    """The cutting at hand.

    Attributes
    ----------
    ladder, rung
        Places in the plan, from 0. Past the last ladder once every cutting was tried.
    blank
        Which blank is in hand, from 1.
    new_blank
        Whether that blank is still uncut.
    tried
        Cuttings that did not turn.
    wasted
        Blanks that were put aside: their ladder is done, or they were spoilt.
    """

    ladder: int = 0
    rung: int = 0
    blank: int = 1
    new_blank: bool = True
    tried: int = 0
    wasted: int = 0


def follow_climb(rungs: Sequence[int], kinds: Iterable[str]) -> Standing:
    """Return where one stands after the entries ``kinds``.

    Parameters
    ----------
    rungs
        Cuttings of each ladder, all above 0.
    kinds
        :data:`NO`, :data:`SPOILT`, :data:`BACK` or :data:`TURNED`, oldest first. ``BACK`` takes the last
        entry away that still counts; what comes after the last ladder is passed over.

    Examples
    --------
    >>> follow_climb((2, 3), ["no", "no"])
    Standing(ladder=1, rung=0, blank=2, new_blank=True, tried=2, wasted=1)
    >>> follow_climb((2, 3), ["no", "spoilt"])
    Standing(ladder=0, rung=1, blank=2, new_blank=True, tried=1, wasted=1)
    """
    passed = [Standing()]
    for kind in kinds:
        now = passed[-1]
        if kind == BACK:
            if len(passed) > 1:
                passed.pop()
        elif now.ladder >= len(rungs):
            continue
        elif kind == SPOILT:
            passed.append(replace(now, blank=now.blank + 1, new_blank=True, wasted=now.wasted + 1))
        elif kind == NO:
            passed.append(_step(rungs, now))
    return passed[-1]


def _step(rungs: Sequence[int], now: Standing) -> Standing:
    tried = now.tried + 1
    if now.rung + 1 < rungs[now.ladder]:
        return replace(now, rung=now.rung + 1, new_blank=False, tried=tried)
    last = now.ladder + 1 == len(rungs)
    return Standing(now.ladder + 1, 0, now.blank + (not last), True, tried, now.wasted + 1)


def name_deeper(standard: BladeStandard, before: Bitting | None, after: Bitting) -> tuple[str, ...]:
    """Return the names of the cuts that are cut to come from ``before`` to ``after``; None: a new blank."""
    names = []
    for edge, cuts in enumerate(after.edges):
        for index, cut in enumerate(cuts):
            was = before.edges[edge][index] if before is not None else None
            if was is None or (cut is not None and cut > was):
                names.append(name_cut(standard, edge, index))
    return tuple(names)
