"""What the page “What your runs say” shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bittern.engines.pairing.learning import Figure, Proposal, Rule
from bittern.work.ports import Desk
from bittern.work.sheet_new import study_runs

TAKE = "take-proposals"
KIND_WORDS = {"time": "how long it takes", "failures": "how often it fails", "choice": "which way it goes"}


@dataclass(frozen=True, slots=True)
class FigureView:
    """One figure in words: now, proposed, and where it lies with a chance of 90 %."""

    label: str
    now: str
    proposed: str
    interval: str


@dataclass(frozen=True, slots=True)
class ProposalView:
    """One proposal, its step's words and its figures."""

    proposal: Proposal
    say: str
    kind: str
    figures: tuple[FigureView, ...]


def build_runs(desk: Desk, sheet_id: str) -> dict[str, Any]:
    """Return the context of the page."""
    taught = study_runs(desk, sheet_id)
    sheet = taught.version.read()
    return {
        "sheet_id": sheet_id,
        "sheet": sheet,
        "taught": taught,
        "take_act": TAKE,
        "rule": Rule(),
        "proposals": [
            ProposalView(
                one,
                sheet.steps[one.step].say,
                KIND_WORDS[one.kind],
                tuple(_view(figure, one.kind) for figure in one.figures),
            )
            for one in taught.proposals
        ],
    }


def _view(figure: Figure, kind: str) -> FigureView:
    word = _word_s if kind == "time" else _word_chance
    return FigureView(
        figure.label,
        word(figure.now),
        word(figure.proposed),
        f"{word(figure.low)} to {word(figure.high)}",
    )


def _word_s(seconds: float) -> str:
    """Return a time of a step.

    >>> _word_s(12.5), _word_s(300.0)
    ('12.5 s', '5 min')
    """
    return f"{seconds / 60:.3g} min" if seconds >= 120 else f"{seconds:.3g} s"


def _word_chance(p: float) -> str:
    return f"{100 * p:.3g} %"
