"""What differs between a text and the number that was meant: in words, and as places to look at again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Slip = Literal["wrong", "exchanged", "extra", "missing"]


@dataclass(frozen=True, slots=True)
class Change:
    """One slip.

    Attributes
    ----------
    slip
        ``wrong``: one character for another; ``exchanged``: two neighbours; ``extra``: one too many in the
        text; ``missing``: one too few.
    read_place, vin_place
        Where it is in the text and in the number, from 0; for a missing character ``read_place`` is that of
        the one before which it is missing.
    read, meant
        The characters concerned; empty where there are none.
    """

    slip: Slip
    read_place: int
    vin_place: int
    read: str
    meant: str

    @property
    def words(self) -> str:
        """What has to be done to the text; positions are the number's, but for what is taken out."""
        here = self.vin_place + 1
        if self.slip == "exchanged":
            return f"positions {here} and {here + 1} exchanged: {self.read} → {self.meant}"
        if self.slip == "extra":
            return f"position {self.read_place + 1}: {self.read} taken out"
        if self.slip == "missing":
            return f"position {here}: {self.meant} put in"
        return f"position {here}: {self.read} → {self.meant}"


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A place of the text, from 1, and the probability that a slip was made there.

    For ``missing`` it is the place before which a character is missing; one after the last means the end.
    """

    position: int
    p: float
    slip: Literal["wrong", "missing"] = "wrong"

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape."""
        return {"position": self.position, "p": self.p, "slip": self.slip}


def find_changes(read: str, vin: str) -> tuple[Change, ...]:
    """Return the fewest slips that make ``read`` of ``vin``, each character in at most one of them.

    Where several sets are as small, one lost or added character is preferred at the later place.

    Examples
    --------
    >>> [change.words for change in find_changes("1MBGDDM9A", "1M8GDM9A")]
    ['position 3: B → 8', 'position 6: D taken out']
    """
    n, m = len(read), len(vin)
    # A shared beginning is never changed, and most of the work is left out with it.
    shared = _count_shared(read, vin)
    left = _count_slips(read[shared:], vin[shared:])
    changes: list[Change] = []
    i = j = shared

    def ahead(read_on: int, vin_on: int) -> int:
        return left[i - shared + read_on][j - shared + vin_on]

    while i < n or j < m:
        rest = ahead(0, 0)
        if i < n and j < m and read[i] == vin[j] and ahead(1, 1) == rest:
            i, j = i + 1, j + 1
        elif _is_exchanged(read, vin, i, j) and ahead(2, 2) + 1 == rest:
            changes.append(Change("exchanged", i, j, read[i : i + 2], vin[j : j + 2]))
            i, j = i + 2, j + 2
        elif i < n and j < m and ahead(1, 1) + 1 == rest:
            changes.append(Change("wrong", i, j, read[i], vin[j]))
            i, j = i + 1, j + 1
        elif i < n and ahead(1, 0) + 1 == rest:
            changes.append(Change("extra", i, j, read[i], ""))
            i += 1
        else:
            changes.append(Change("missing", i, j, "", vin[j]))
            j += 1
    return tuple(changes)


def describe_changes(read: str, vin: str) -> tuple[str, ...]:
    """Return in words what has to be changed in ``read`` to get ``vin``.

    >>> describe_changes("1G", "G1")
    ('positions 1 and 2 exchanged: 1G → G1',)
    """
    return tuple(change.words for change in find_changes(read, vin))


def find_suspicions(
    read: str, weighed: Iterable[tuple[str, float]], certain: Iterable[int] = ()
) -> tuple[Suspicion, ...]:
    """Return the places of ``read`` where a slip was made, likeliest first.

    Parameters
    ----------
    read
        The text.
    weighed
        Numbers that could have been meant, each with its posterior probability.
    certain
        Places, from 0, of characters that no number contains.
    """
    wrong: dict[int, float] = defaultdict(float)
    missing: dict[int, float] = defaultdict(float)
    for vin, probability in weighed:
        for change in find_changes(read, vin):
            if change.slip == "missing":
                missing[change.read_place] += probability
            else:
                for place in range(change.read_place, change.read_place + len(change.read)):
                    wrong[place] += probability
    wrong.update(dict.fromkeys(certain, 1.0))
    found = [Suspicion(place + 1, min(p, 1.0)) for place, p in wrong.items()]
    found += [Suspicion(place + 1, min(p, 1.0), "missing") for place, p in missing.items()]
    return tuple(sorted(found, key=lambda one: (-one.p, one.position)))


def _count_shared(read: str, vin: str) -> int:
    """Return how many characters both have in common at the beginning."""
    shorter = min(len(read), len(vin))
    return next((i for i in range(shorter) if read[i] != vin[i]), shorter)


def _count_slips(read: str, vin: str) -> list[list[int]]:
    """Return, for each pair of places, the fewest slips between what is left of both from there on."""
    n, m = len(read), len(vin)
    left = [[0] * (m + 1) for _ in range(n + 1)]
    for i in range(n, -1, -1):
        for j in range(m, -1, -1):
            if i == n or j == m:
                left[i][j] = (n - i) + (m - j)
                continue
            best = min(left[i + 1][j + 1] + (read[i] != vin[j]), left[i + 1][j] + 1, left[i][j + 1] + 1)
            if _is_exchanged(read, vin, i, j):
                best = min(best, left[i + 2][j + 2] + 1)
            left[i][j] = best
    return left


def _is_exchanged(read: str, vin: str, i: int, j: int) -> bool:
    return (
        i + 1 < len(read)
        and j + 1 < len(vin)
        and read[i] != read[i + 1]
        and read[i : i + 2] == vin[j + 1] + vin[j]
    )
