"""Bittings: how they are written, and which rule of a standard they break at which cuts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby, pairwise

from bittern.core.errors import shorten
from bittern.engines.blade.errors import BittingError
from bittern.engines.blade.standard import BladeStandard

UNKNOWN = "?"
EDGE_BREAK = "/"
EDGE_NAMES = ("A", "B")

Cuts = tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class Bitting:
    """The cuts of one key.

    Attributes
    ----------
    edges
        One tuple of depth numbers an edge, in the order of the standard's positions. A depth number counts
        from 0, the first of the standard's ``depths_mm``; None is an unknown cut. There are two edges when
        the standard is ``split`` (A, the upper, then B, the lower), else one.
    """

    edges: tuple[Cuts, ...]

    @property
    def complete(self) -> bool:
        """Whether every cut is known."""
        return all(cut is not None for cuts in self.edges for cut in cuts)


@dataclass(frozen=True, slots=True)
class Violation:
    """One rule that a bitting breaks.

    Attributes
    ----------
    rule
        ``count``, ``label``, ``macs``, ``max_run`` or ``min_distinct``.
    cuts
        Names of the cuts concerned, "3" or on a split blade "A3"; empty when no single cut is to blame.
    found, expected
        In words, with labels and cut names.
    """

    rule: str
    cuts: tuple[str, ...]
    found: str
    expected: str

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape ``rule, cuts, found, expected``."""
        return {
            "rule": self.rule,
            "cuts": list(self.cuts),
            "found": self.found,
            "expected": self.expected,
        }

    def __str__(self) -> str:
        return f"{self.found}, expected {self.expected} (rule {self.rule})"


def count_edges(standard: BladeStandard) -> int:
    """Return how many bittings one key carries: two on a split blade, else one."""
    return 2 if standard.sides == "split" else 1


def name_cut(standard: BladeStandard, edge: int, index: int) -> str:
    """Return a cut's name: its number from 1, on a split blade after the letter of its edge."""
    return f"{EDGE_NAMES[edge]}{index + 1}" if count_edges(standard) == 2 else str(index + 1)


def read_bitting(standard: BladeStandard, text: str) -> tuple[Bitting | None, list[Violation]]:
    """Return the bitting that ``text`` writes, or None with everything that is wrong with the writing.

    Parameters
    ----------
    standard
        Gives labels, number of cuts and number of edges.
    text
        Labels parted by spaces in the order of the positions, ``?`` for an unknown cut; on a split blade two
        such lists parted by `` / ``.

    Returns
    -------
    tuple
        The bitting and an empty list, or None and the violations of ``count`` and ``label``. The standard's
        rules are not looked at: see :func:`find_violations`.
    """
    parts = _split_edges(text)
    wanted = count_edges(standard)
    count = len(standard.positions_mm)
    if len(parts) != wanted:
        lists = "one list of cuts" if wanted == 1 else f"two lists of cuts parted by ' {EDGE_BREAK} '"
        return None, [Violation("count", (), f"{len(parts)} lists in {shorten(text)}", lists)]
    numbers = {label: number for number, label in enumerate(standard.labels)}
    violations = []
    edges: list[Cuts] = []
    for edge, words in enumerate(parts):
        side = f" on edge {EDGE_NAMES[edge]}" if wanted == 2 else ""
        if len(words) != count:
            violations.append(
                Violation("count", (), f"{len(words)} cuts{side}", f"{count} labels parted by spaces")
            )
        violations += [
            Violation(
                "label",
                (name_cut(standard, edge, index),),
                f"{shorten(word, 24)} at cut {name_cut(standard, edge, index)}",
                f"{' '.join(standard.labels)} or {UNKNOWN}",
            )
            for index, word in enumerate(words[:count])
            if word not in numbers and word != UNKNOWN
        ]
        edges.append(tuple(numbers.get(word) for word in words))
    return (None, violations) if violations else (Bitting(tuple(edges)), [])


def parse_bitting(standard: BladeStandard, text: str) -> Bitting:
    """Return the bitting that ``text`` writes.

    Raises
    ------
    BittingError
        The number of cuts or a label is not the standard's: often the wrong standard was chosen.

    Examples
    --------
    >>> from bittern.engines.blade.standard import BladeStandard
    >>> heron = BladeStandard(
    ...     id="heron", title="Heron", kind="edge", datum="shoulder", length_mm=12.0, width_mm=8.4,
    ...     thickness_mm=2.2, positions_mm=(3.0, 6.0, 9.0), depths_mm=(8.0, 7.4, 6.8),
    ...     labels=("1", "2", "3"), flat_mm=1.0, angle_deg=90.0, tolerance_mm=0.05, macs=2)
    >>> parse_bitting(heron, "2 ? 1").edges
    ((1, None, 0),)
    >>> format_bitting(heron, parse_bitting(heron, " 2  ? 1 "))
    '2 ? 1'
    """
    bitting, violations = read_bitting(standard, text)
    if bitting is None:
        raise BittingError(violations, hint=f"blade standard {standard.id}: {describe_form(standard)}")
    return bitting


def describe_form(standard: BladeStandard) -> str:
    """Return in words how a bitting of ``standard`` is written."""
    count = len(standard.positions_mm)
    cuts = f"{count} cut{'s' if count != 1 else ''}"
    if count_edges(standard) == 2:
        cuts = f"{cuts} on each edge, the lists parted by ' {EDGE_BREAK} '"
    return f"{cuts}, each {' '.join(standard.labels)} or {UNKNOWN}"


def write_unknown(standard: BladeStandard) -> str:
    """Return the writing of a bitting of which no cut is known."""
    nothing: Cuts = (None,) * len(standard.positions_mm)
    return format_bitting(standard, Bitting((nothing,) * count_edges(standard)))


def format_bitting(standard: BladeStandard, bitting: Bitting) -> str:
    """Return ``bitting`` as it is written: labels and spaces, edges joined by `` / ``."""
    return f" {EDGE_BREAK} ".join(
        " ".join(UNKNOWN if cut is None else standard.labels[cut] for cut in cuts) for cuts in bitting.edges
    )


def find_violations(standard: BladeStandard, bitting: Bitting) -> list[Violation]:
    """Return every rule of ``standard`` that ``bitting`` breaks for certain, with the cuts where it does.

    Parameters
    ----------
    standard, bitting
        The bitting has the standard's number of edges and cuts, as :func:`parse_bitting` makes it.

    Returns
    -------
    list of Violation
        Empty when no rule is broken. Each edge of a split blade is judged by itself.

    Notes
    -----
    With unknown cuts each rule is judged alone and only counts as broken when no depths at the unknown cuts
    could keep it: two known cuts with ``k`` unknown ones between them may differ by ``(k + 1) * macs``; an
    unknown cut ends a run of equal cuts, and may be one more different depth. Whether all rules can be kept
    at once is a question for the count of the remaining bittings, not for this function.

    The MACS is the largest difference of depth numbers between neighbours (LIST Council dictionary wording,
    as read at availablelocksmithinc.com): 2 beside 9 keeps a MACS of 7, 1 beside 9 does not.
    """
    violations: list[Violation] = []
    for edge, cuts in enumerate(bitting.edges):
        violations += _find_steps(standard, edge, cuts)
        violations += _find_runs(standard, edge, cuts)
        violations += _find_sameness(standard, edge, cuts)
    return violations


def check_bitting(standard: BladeStandard, text: str) -> Bitting:
    """Return the bitting that ``text`` writes when it keeps every rule.

    Raises
    ------
    BittingError
        The writing is wrong or a rule is broken; ``violations`` has them all.
    """
    bitting = parse_bitting(standard, text)
    violations = find_violations(standard, bitting)
    if violations:
        raise BittingError(violations, hint=f"rules of blade standard {standard.id}")
    return bitting


def _split_edges(text: str) -> list[list[str]]:
    parts: list[list[str]] = [[]]
    for word in text.split():
        if word == EDGE_BREAK:
            parts.append([])
        else:
            parts[-1].append(word)
    return parts


def _find_steps(standard: BladeStandard, edge: int, cuts: Cuts) -> Iterator[Violation]:
    known = [(index, cut) for index, cut in enumerate(cuts) if cut is not None]
    for (i, before), (j, after) in pairwise(known):
        step, allowed = abs(after - before), standard.macs * (j - i)
        if step <= allowed:
            continue
        names = tuple(name_cut(standard, edge, index) for index in range(i, j + 1))
        gap = f" over {j - i} places" if j - i > 1 else ""
        yield Violation(
            "macs",
            names,
            f"a step of {step} depths from {standard.labels[before]} to {standard.labels[after]}"
            f" at cuts {names[0]} and {names[-1]}",
            f"at most {allowed}{gap}",
        )


def _find_runs(standard: BladeStandard, edge: int, cuts: Cuts) -> Iterator[Violation]:
    if standard.max_run is None:
        return
    start = 0
    for cut, group in groupby(cuts):
        length = len(list(group))
        if cut is not None and length > standard.max_run:
            names = _name_range(standard, edge, start, start + length)
            yield Violation(
                "max_run",
                names,
                f"{length} cuts {standard.labels[cut]} in a row at cuts {names[0]} to {names[-1]}",
                f"at most {standard.max_run}",
            )
        start += length


def _find_sameness(standard: BladeStandard, edge: int, cuts: Cuts) -> Iterator[Violation]:
    if standard.min_distinct is None:
        return
    most = min(len(standard.labels), len(set(cuts) - {None}) + cuts.count(None))
    if most < standard.min_distinct:
        names = _name_range(standard, edge, 0, len(cuts))
        yield Violation(
            "min_distinct",
            names,
            f"{most} different depth{'s' if most != 1 else ''} at cuts {names[0]} to {names[-1]}",
            f"at least {standard.min_distinct}",
        )


def _name_range(standard: BladeStandard, edge: int, start: int, stop: int) -> tuple[str, ...]:
    return tuple(name_cut(standard, edge, index) for index in range(start, stop))
