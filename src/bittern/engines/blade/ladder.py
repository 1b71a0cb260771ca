"""Ladders: the fewest blanks that cover every bitting that is left, in an order that ends soonest.

A ladder is a sequence of ever deeper cuttings tried on one blank. The plan uses the fewest blanks that any
plan can (see :mod:`~bittern.engines.blade.chains`) and says which bittings prove it: no two of them can be
cut from the same blank. Among such plans ladders are ordered, and parts of them exchanged, so that fewer
cuttings are expected up to the right one.

What it cannot see: wear of the lock, a key that turns though a cut is not quite right, and blanks that may be
put aside and cut further later: a ladder is climbed to its end before the next blank is taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade.bitting import Bitting, format_bitting
from bittern.engines.blade.chains import cover_by_chains
from bittern.engines.blade.errors import LadderError
from bittern.engines.blade.exchange import Chain, Floats, order_ladders, shorten_ladders
from bittern.engines.blade.remaining import (
    CutHelp,
    count_remaining,
    enumerate_remaining,
    rank_cuts_of,
    rank_unknown_cuts,
    to_bitting,
)
from bittern.engines.blade.standard import BladeStandard

MOST_BLANKS = 12
"""More blanks than this is no plan but a waste of them (common practice: a handful at most)."""
# What each further cut would save in blanks takes a plan for each of its depths.
_MOST_RANKED = 20_000


@dataclass(frozen=True, slots=True)
class LadderPlan:
    """A plan that finds the right bitting among those left.

    Attributes
    ----------
    remaining
        How many bittings agree with what is known.
    blanks
        Blanks that the plan uses at most: one a ladder. None where no plan was made.
    proof
        Bittings of which no two can be cut from one blank, as many as ``blanks``: no plan needs fewer.
    ladders
        Bittings as written, each ladder from shallow to deep, in the order of use.
    expected_cuttings
        Mean number of cuttings made up to and with the right one. None where no plan was made.
    helps
        The unknown cuts, the one most worth measuring first.
    problems
        Sentences on what is wrong: nothing left, or too many.
    covered
        Chance that the right bitting is among those that the plan covers, as far as the weights know.
    """

    remaining: int
    blanks: int | None
    proof: tuple[str, ...]
    ladders: tuple[tuple[str, ...], ...]
    expected_cuttings: float | None
    helps: tuple[CutHelp, ...]
    problems: tuple[str, ...]
    covered: float = 1.0

    @property
    def hopeless(self) -> bool:
        """Whether no plan was made, or it needs more blanks than is sensible."""
        return self.blanks is None or self.blanks > MOST_BLANKS

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape, with more keys after it."""
        return {
            "remaining": self.remaining,
            "blanks": self.blanks,
            "lower_bound": len(self.proof) if self.blanks is not None else None,
            "ladders": [list(ladder) for ladder in self.ladders],
            "expected_cuttings": self.expected_cuttings,
            "proof": list(self.proof),
            "helps": [
                {
                    "cut": one.cut,
                    "expected_remaining": one.expected_remaining,
                    "expected_blanks": one.expected_blanks,
                }
                for one in self.helps
            ],
            "problems": list(self.problems),
            "covered": self.covered,
        }


def plan_ladders(
    standard: BladeStandard,
    known: Bitting,
    weights: Mapping[Bitting, float] | None = None,
    *,
    covered: float = 1.0,
) -> LadderPlan:
    """Return the ladders that cover every bitting that is left with the fewest blanks.

    Parameters
    ----------
    standard
        An edge blade: a groove that was milled beside its place cannot be moved by milling deeper.
    known
        The known cuts; None is an unknown one.
    weights
        How likely each bitting is, from a code table or a reading, above 0 and in any unit; bittings that are
        not in it are ruled out. None: all that the rules allow, equally likely.
    covered
        Chance that the right bitting is among ``weights``; the plan carries it on.

    Raises
    ------
    LadderError
        The blade is a track blade, or a weight is not above 0.
    """
    if standard.kind != "edge":
        raise LadderError(f"{standard.id}, a {standard.kind} blade", "an edge blade, which can be cut deeper")
    if weights is not None:
        rows, chance = _weigh(standard, known, weights)
        remaining = len(rows)
    else:
        remaining = count_remaining(standard, known)
        found = enumerate_remaining(standard, known) if remaining else np.zeros((0, 1), dtype=np.int8)
        if found is None:
            helps = tuple(rank_unknown_cuts(standard, known))
            problem = f"{remaining:,} bittings are left: too many for ladders"
            return LadderPlan(remaining, None, (), (), None, helps, (_advise(problem, helps),))
        rows, chance = found, np.full(len(found), 1.0 / max(1, len(found)))
    if not remaining:
        return LadderPlan(0, 0, (), (), None, (), ("no bitting agrees with what is known",))
    cover = cover_by_chains(rows)
    few = cover is not None and len(rows) <= _MOST_RANKED
    helps = tuple(rank_cuts_of(standard, rows, chance, blanks=few))
    if cover is None:
        problem = f"{remaining:,} bittings are left, spread over too many depths for ladders"
        return LadderPlan(remaining, None, (), (), None, helps, (_advise(problem, helps),))
    if len(cover.chains) != len(cover.antichain):
        raise RuntimeError("the chains and the antichain that should prove them differ in number")
    if len(cover.chains) <= MOST_BLANKS:
        chains = shorten_ladders(rows, chance, cover.chains)
    else:
        chains = order_ladders(cover.chains, chance)
    texts = [format_bitting(standard, to_bitting(standard, row)) for row in rows]
    blanks = len(chains)
    problems = () if blanks <= MOST_BLANKS else (_advise(f"{blanks} blanks would be needed", helps),)
    return LadderPlan(
        remaining=remaining,
        blanks=blanks,
        proof=tuple(texts[i] for i in cover.antichain),
        ladders=tuple(tuple(texts[i] for i in chain) for chain in chains),
        expected_cuttings=_expect(chains, chance),
        helps=helps,
        problems=problems,
        covered=covered,
    )


def _advise(problem: str, helps: Sequence[CutHelp]) -> str:
    if not helps:
        return problem
    left = max(1, round(helps[0].expected_remaining))
    blanks = helps[0].expected_blanks
    needed = f" and {max(1, round(blanks)):,} needed" if blanks is not None else ""
    return f"{problem}; find out cut {helps[0].cut} first: about {left:,} would be left{needed}"


def _weigh(
    standard: BladeStandard, known: Bitting, weights: Mapping[Bitting, float]
) -> tuple[NDArray[np.int8], Floats]:
    """Return the weighed bittings that agree with the known cuts, and their chances."""
    rows: list[list[int]] = []
    kept: list[float] = []
    wanted = [cut for cuts in known.edges for cut in cuts]
    for bitting, weight in weights.items():
        if not 0.0 < weight < float("inf"):
            raise LadderError(
                f"a weight of {weight}", "a weight above 0", where=format_bitting(standard, bitting)
            )
        row = [cut for cuts in bitting.edges for cut in cuts]
        if None in row or len(row) != len(wanted):
            raise LadderError(format_bitting(standard, bitting), "a whole bitting of the standard")
        if all(want is None or want == cut for want, cut in zip(wanted, row, strict=True)):
            rows.append([cut for cut in row if cut is not None])
            kept.append(weight)
    order = sorted(range(len(rows)), key=lambda i: rows[i])
    table = np.array([rows[i] for i in order], dtype=np.int8).reshape(len(rows), len(wanted))
    chance = np.array([kept[i] for i in order], dtype=np.float64)
    return table, chance / chance.sum() if len(chance) else chance


def _expect(chains: Sequence[Chain], chance: Floats) -> float:
    """Return the mean number of cuttings, the ladders used in the order given."""
    row = np.array([i for chain in chains for i in chain])
    return float(chance[row] @ np.arange(1, len(row) + 1))
