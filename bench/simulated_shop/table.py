"""The world as arrays: what each article is, how often it is met, and what could lie outside the pack."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from simulated_shop.habits import Habits
from simulated_shop.misreading import ANY, DIGIT, encode, spell
from simulated_shop.pack import FIRST_YEAR, LAST_YEAR, Model, World

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

STARTS = ("turn", "push")
YEARS = tuple(range(FIRST_YEAR, LAST_YEAR + 3))


def weigh_year(year: int) -> float:
    """Return how many vehicles of a year come for a key: most are about eight years old."""
    return float(np.exp(-0.5 * ((LAST_YEAR - year - 8) / 5.0) ** 2))


def p_push(year: int, habits: Habits) -> float:
    """Return push start's part of a year where a model has both."""
    along = min(1.0, max(0.0, (year - 2006) / (2024 - 2006)))
    return habits.push_early + along * (habits.push_late - habits.push_early)


@dataclass(frozen=True, slots=True)
class Feature:
    """Distinct values of a feature, and each article's place among them."""

    values: tuple[Hashable, ...]
    code: Integers


@dataclass(frozen=True, slots=True)
class Labels:
    """All identifiers as codes: those of the pack, then a pattern for each family, then unknown ones.

    ``pattern`` is each label's family pattern, ``used`` how many numbers of it the pack has, ``grantee`` its
    grantee's place. Unknown ones: any code of a grantee, any identifier; ``lengths`` of the product code
    are equally likely.
    """

    codes: Integers
    lengths: Integers
    hyphened: Floats
    known: int
    pattern: Integers
    used: Integers
    patterns: slice
    grantee: Integers
    grantees: tuple[tuple[int, ...], ...]
    any_at: tuple[int, ...]


@dataclass
class Table:
    """Arrays over one world, made once."""

    world: World
    habits: Habits
    names: tuple[str, ...] = field(init=False)
    place: dict[str, int] = field(init=False)
    kind: Integers = field(init=False)
    features: dict[str, Feature] = field(init=False)
    labels: Labels = field(init=False)
    met: dict[tuple[str, int], Floats] = field(init=False)
    models: dict[tuple[str, str], Model] = field(init=False)

    def __post_init__(self) -> None:
        articles = list(self.world.catalogue.articles.values())
        self.names = tuple(one.article for one in articles)
        self.place = {name: i for i, name in enumerate(self.names)}
        kinds = sorted({one.kind for one in articles})
        self.kind = np.array([kinds.index(one.kind) for one in articles], dtype=np.int64)
        self.features = {
            "label": _code([one.fcc_id for one in articles]),
            "layout": _code([frozenset(one.buttons) for one in articles]),
            "radio": _code([one.frequency_hz or 0.0 for one in articles]),
            "blade": _code([one.blade for one in articles]),
            "chip": _code([one.chip for one in articles]),
        }
        self.labels = _lay_labels([str(value) for value in self.features["label"].values])
        self.models = {(one.make, one.name): one for one in self.world.models}
        self._lay_met()

    def _lay_met(self) -> None:
        """Fill ``met``: how often an article is met in a make (or "" for all), by start; each sums to 1."""
        counts: dict[str, Floats] = {}
        for model in self.world.models:
            total = sum(weigh_year(year) for year in model.years)
            for (year, start), choices in model.cells.items():
                by_start = split_start(model, year, self.habits)
                for one in choices:
                    weight = model.popularity * weigh_year(year) / total * by_start[STARTS.index(start)]
                    for key in ("", model.make):
                        held = counts.setdefault(key, np.zeros((2, len(self.names))))
                        held[STARTS.index(start), self.place[one.article]] += weight * one.share
        self.met = {}
        for make, held in counts.items():
            for place in (0, 1):
                own = held[place] if held[place].sum() > 0 else held.sum(axis=0)
                self.met[make, place] = own / own.sum()
            self.met[make, -1] = held.sum(axis=0) / held.sum()

    def gap(self, make: str, start: int) -> Floats:
        """Return which article of the pack a vehicle takes for which the pack does not list it."""
        same = self.habits.gap_same_make
        return same * self.met[make, start] + (1.0 - same) * self.met["", start]


def split_start(model: Model, year: int, habits: Habits) -> tuple[float, float]:
    """Return the chances of turn and push for a model and year that has rows."""
    starts = [start for start in STARTS if (year, start) in model.cells]
    if len(starts) == 2:
        push = p_push(year, habits)
        return 1.0 - push, push
    return (1.0, 0.0) if starts == ["turn"] else (0.0, 1.0)


def weigh_years(model: Model, habits: Habits) -> dict[int, float]:
    """Return the chance of each year of a model's vehicles, the two after its last rows included."""
    weights = {year: weigh_year(year) for year in model.years}
    last = model.years[-1]
    for year in (last + 1, last + 2):
        if year <= LAST_YEAR:
            weights[year] = habits.uncovered_weight * weigh_year(year)
    total = sum(weights.values())
    return {year: weight / total for year, weight in weights.items()}


def _code(column: Sequence[Hashable]) -> Feature:
    place: dict[Hashable, int] = {}
    code = np.array([place.setdefault(value, len(place)) for value in column], dtype=np.int64)
    return Feature(tuple(place), code)


def _pattern(label: str) -> tuple[int, ...]:
    """Return a label with its two-digit number as wildcards; an empty label stays empty."""
    codes = spell(label)
    digits = [i for i in range(3, len(codes) - 1) if codes[i] < 10 and codes[i + 1] < 10]
    for at in digits[-1:]:
        codes[at] = codes[at + 1] = DIGIT
    return tuple(codes)


def _lay_labels(labels: Sequence[str]) -> Labels:
    patterns: dict[tuple[int, ...], int] = {}
    pattern = np.array([patterns.setdefault(_pattern(label), len(patterns)) for label in labels])
    used = np.bincount(pattern, minlength=len(patterns))
    heads: dict[tuple[int, ...], int] = {}
    grantee = np.array([heads.setdefault(tuple(spell(label)[:3]), len(heads)) for label in labels])
    rows: list[Sequence[int]] = [spell(label) for label in labels]
    hyphened = [float("-" in label) for label in labels]
    first = len(rows)
    rows += list(patterns)
    hyphened += [hyphened[int(np.flatnonzero(pattern == i)[0])] for i in range(len(patterns))]
    places = []
    for head in heads:
        places.append(tuple(range(len(rows), len(rows) + len(PRODUCT_LENGTHS))))
        rows += [[*head, *[ANY] * length] for length in PRODUCT_LENGTHS]
    any_at = tuple(range(len(rows), len(rows) + len(PRODUCT_LENGTHS)))
    rows += [[ANY] * (3 + length) for length in PRODUCT_LENGTHS]
    hyphened += [HYPHENED] * (len(rows) - len(hyphened))
    codes, lengths = encode(rows)
    return Labels(
        codes, lengths, np.array(hyphened), len(labels), pattern, used,
        slice(first, first + len(patterns)), grantee, tuple(places), any_at,
    )  # fmt: skip


PRODUCT_LENGTHS = (3, 4, 5, 6)
"""Characters after the grantee code of identifiers that the pack does not have."""
HYPHENED = 1 / 3
