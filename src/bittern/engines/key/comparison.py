"""An observation against the article that turned out true: what went right and wrong in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from bittern.core.channel import CONFUSIONS, SEPARATOR, SOUNDS, ChannelRates
from bittern.engines.key.evidence import Observation
from bittern.engines.key.identifier import clean_reading
from bittern.engines.key.index import Floats, KeyIndex, plain_name
from bittern.engines.key.learning import Lesson

OVERLOOKED = "overlooked"
# Beyond this many wrong characters a text is another identifier rather than this one misread.
MOST_EDITS = 2
_LEAST_BACKGROUND = 0.01


@dataclass(frozen=True, slots=True)
class Trial:
    """Trials of one rate in one job, and the chance of the same seen on a foreign key.

    ``others`` is the chance of just this wrong value among all wrong ones.
    """

    name: str
    how: str
    wrong: int
    right: int
    of_key: bool
    foreign: float = 1.0
    others: float = 1.0


class Judge:
    """Compares observations with the article that turned out true."""

    def __init__(self, index: KeyIndex, undercount: float) -> None:
        self.index, self.undercount = index, undercount
        self._known: dict[tuple[str, str, str], frozenset[str]] = {}
        self.count_errors: Callable[[str, str], int] = lru_cache(65_536)(count_errors)
        weight = index.general.of_articles(np.arange(len(index)))
        self.share: dict[str, Floats] = {
            kind: np.bincount(table.code, weights=weight, minlength=len(table.values)).astype(np.float64)
            for kind, table in index.tables.items()
        }
        sets = index.tables["buttons"].values
        self.words: frozenset[str] = frozenset().union(*(one for one in sets if isinstance(one, frozenset)))
        self.place = {
            kind: {value: i for i, value in enumerate(table.values)} for kind, table in index.tables.items()
        }

    def compare(self, one: Observation, lesson: Lesson, place: int) -> list[Trial]:
        """Return the trials of one observation."""
        if one.kind == "start":
            return self._start(one, lesson)
        own = self.index.tables[one.kind].values[self.index.tables[one.kind].code[place]]
        has = self.index.tables[one.kind].code[place] != self.index.tables[one.kind].absent
        asked = Trial(
            f"null:{one.kind}:{'has' if has else 'has-not'}", "",
            int(one.value is None), int(one.value is not None), of_key=False,
        )  # fmt: skip
        if one.value is None:
            return [asked]
        compare: dict[str, Callable[[Observation, object], list[Trial]]] = {
            "button_count": partial(self._count, self._find_list(one, lesson)),
            "buttons": self._buttons,
            "blade": self._category,
            "chip": self._category,
            "fcc_id": self._identifier,
        }
        found = compare.get(one.kind)
        return [asked, *found(one, own)] if found else [asked]

    def _background(self, kind: str, value: object) -> float:
        place = self.place[kind].get(value)
        share = 0.0 if place is None else float(self.share[kind][place])
        return max(_LEAST_BACKGROUND, share)

    @staticmethod
    def _find_list(one: Observation, lesson: Lesson) -> Observation | None:
        """Return the list of buttons that came of the same look as a number."""
        same = (other for other in lesson.observations if other.kind == "buttons" and other.how == one.how)
        return next((other for other in same if other.value is not None), None)

    def _count(self, said: Observation | None, one: Observation, own: object) -> list[Trial]:
        true, number = int(str(own)), int(str(one.value))
        foreign = self._background(one.kind, one.value)
        if said is not None:
            # Whether one was overlooked is tried by the list; the number is right by what was seen.
            true -= int(isinstance(said.value, tuple) and len(set(said.value)) == true - 1)
            looked = []
        elif number == true - 1:
            return [Trial(OVERLOOKED, "", 1, 0, True, foreign)]
        else:
            looked = [Trial(OVERLOOKED, "", 0, 1, True)] if true else []
        away = number - true
        others = (self.undercount if away < 0 else 1.0 - self.undercount) * 0.75 * 0.25 ** (abs(away) - 1)
        return [*looked, Trial("miscount", one.how, int(away != 0), int(away == 0), True, foreign, others)]

    def _category(self, one: Observation, own: object) -> list[Trial]:
        value = plain_name(str(one.value))
        if not own:
            return []
        foreign = self._background(one.kind, value)
        return [
            Trial("category_wrong", one.how, int(value != own), int(value == own), True, foreign, foreign)
        ]

    def _buttons(self, one: Observation, own: object) -> list[Trial]:
        seen = frozenset(map(plain_name, one.value if isinstance(one.value, tuple) else ()))
        true = own if isinstance(own, frozenset) else frozenset()
        rest = self.words - true
        missed, imagined = len(true - seen), len(seen & rest)
        foreign = self._background(one.kind, seen)
        # One button too few is taken for overlooked: far more often so than seen and left out.
        overlooked = int(missed == 1)
        looked = [Trial(OVERLOOKED, "", overlooked, 1 - overlooked, True)] if true else []
        missed -= overlooked
        return [
            *looked,
            Trial("missed", one.how, missed, len(true) - overlooked - missed, True, foreign),
            Trial("imagined", one.how, imagined, len(rest) - imagined, True),
        ]

    def _identifier(self, one: Observation, own: object) -> list[Trial]:
        if not own:
            return []
        same = self.count_errors(str(own), str(one.value)) <= MOST_EDITS
        foreign = self._background(one.kind, own) if same else 1.0
        return [Trial("elsewhere_fcc", one.how, int(not same), int(same), True, foreign)]

    def _start(self, one: Observation, lesson: Lesson) -> list[Trial]:
        """Compare with the starts of the article's own fitments: what was told is no witness of itself."""
        if one.value is None:
            return []
        rows = self._starts(lesson.article, plain_name(lesson.make), plain_name(lesson.model))
        if len(rows) != 1:
            return []
        right = one.value in rows
        return [Trial("start_wrong", one.how, int(not right), int(right), of_key=False)]

    def _starts(self, article: str, make: str, model: str) -> frozenset[str]:
        key = (article, make, model)
        kept = self._known.get(key)
        if kept is None:
            kept = frozenset(
                row.start
                for row in self.index.rows_of_article(article)
                if (plain_name(row.make), plain_name(row.model)) == (make, model)
            )
            self._known[key] = kept
        return kept


def count_errors(label: str, reading: str) -> int:
    """Return how many slips lead from ``label`` to ``reading``; a lost end or beginning is one.

    >>> count_errors("KX4-HM22", "KX4HM2Z"), count_errors("KX4-HM22", "KX4-HM"), count_errors("AB12", "BA12")
    (1, 1, 1)
    """
    true, read = (clean_reading(text).replace(SEPARATOR, "") for text in (label, reading))
    if true == read:
        return 0
    # The shortest beginning or end that is still likelier to be this label broken off than another.
    if len(read) >= 3 and (true.startswith(read) or true.endswith(read)):
        return 1
    last, row = list[int](), list(range(len(read) + 1))
    for i, x in enumerate(true, 1):
        before, last, row = last, row, [i] + [0] * len(read)
        for j, y in enumerate(read, 1):
            row[j] = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (x != y))
            if i > 1 and j > 1 and x == read[j - 2] and true[i - 2] == y:
                row[j] = min(row[j], before[j - 2] + 1)
    return row[len(read)]


def expected_errors(label: str, channel: ChannelRates) -> float:
    """Return how many slips the channel makes on average in reading ``label``."""
    characters = clean_reading(label).replace(SEPARATOR, "")
    each = channel.mistaken + channel.swapped + channel.lost + channel.doubled + channel.inserted
    alike = sum(any(c in group for group in CONFUSIONS) for c in characters)
    sounds = sum(any(c in group for group in SOUNDS) for c in characters)
    ends = channel.end_lost + channel.start_lost
    return len(characters) * each + alike * channel.look_alike + sounds * channel.sound_alike + ends
