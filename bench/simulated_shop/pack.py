"""An invented pack of realistic size, with what the pack does not say beside it.

Makes are called "Make A" and so on: nothing here is anybody's. Identifiers run in families with numbers in
sequence, articles are shared over models, several articles share one label, and rows cover generations.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from bittern.engines.key.catalogue import Article, Catalogue, Fitment

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
CARRIERS_HZ = (315e6, 433.92e6, 434.42e6, 868.35e6, 902.375e6)
CHIPS = tuple(f"chip-{n}" for n in range(1, 15))
# Blades of one group look alike on the drawings.
BLADES = tuple(f"blade-{group}{n}" for group in "abcdefg" for n in (1, 2, 3))
FIRST_YEAR, LAST_YEAR = 2005, 2025
HIDDEN = "panic"
"""The button on the other face, which is overlooked most."""
LAYOUTS: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "remote": (("lock", "unlock"), ("lock", "unlock", "boot"), ("lock", "unlock", HIDDEN)),
    "remote-head": (
        ("lock", "unlock"),
        ("lock", "unlock", "boot"),
        ("lock", "unlock", HIDDEN),
        ("lock", "unlock", "boot", HIDDEN),
    ),
    "proximity": (
        ("lock", "unlock", "boot"),
        ("lock", "unlock", HIDDEN),
        ("lock", "unlock", "boot", HIDDEN),
        ("lock", "unlock", "start", HIDDEN),
        ("lock", "unlock", "boot", "start", HIDDEN),
        ("lock", "unlock", "boot", "left door", "right door", HIDDEN),
    ),
}


@dataclass(frozen=True, slots=True)
class Size:
    """How much a pack holds; articles are about ``makes * families * 5``."""

    makes: int = 14
    models: int = 21
    families: int = 16


@dataclass(frozen=True, slots=True)
class Choice:
    """A listed article, its share as the pack states it, and as it is."""

    article: str
    share: float
    true_share: float


@dataclass(frozen=True, slots=True)
class Model:
    """One model: for each year and start, what its vehicles take; ``popularity`` is a weight."""

    make: str
    name: str
    popularity: float
    cells: Mapping[tuple[int, str], tuple[Choice, ...]]

    @property
    def years(self) -> tuple[int, ...]:
        """The years with rows."""
        return tuple(sorted({year for year, _ in self.cells}))


@dataclass(frozen=True, slots=True)
class World:
    """The pack that everybody sees, and the models with their true shares."""

    catalogue: Catalogue
    models: tuple[Model, ...]
    make_of: Mapping[str, str]
    """The make that an article belongs to."""


@dataclass(frozen=True, slots=True)
class _Family:
    kind: str
    first: int
    articles: tuple[str, ...]


def make_world(seed: int, size: Size, concentration: float) -> World:
    """Return a pack and what is true of its vehicles, the same for the same arguments."""
    draw = Random(f"pack {seed}")
    articles: dict[str, Article] = {}
    make_of: dict[str, str] = {}
    models: list[Model] = []
    fitments: list[Fitment] = []
    grantees = _draw_grantees(draw, size.makes)
    for number in range(size.makes):
        make = f"Make {LETTERS[number]}"
        # Makes buy from the same workshops: each uses its own grantee code and its neighbour's.
        codes = (grantees[number], grantees[(number + 1) % size.makes])
        families = _make_families(draw, make, codes, size.families, articles)
        make_of.update({name: make for family in families for name in family.articles})
        for count in range(size.models):
            model = _make_model(draw, make, f"Model {LETTERS[number]}{count + 1}", families, concentration)
            models.append(model[0])
            fitments += model[1]
    return World(Catalogue(articles, tuple(fitments)), tuple(models), make_of)


def _draw_grantees(draw: Random, count: int) -> list[str]:
    found: list[str] = []
    while len(found) < count:
        code = draw.choice(LETTERS) + draw.choice(LETTERS + "23456789") + draw.choice(LETTERS + "23456789")
        if code not in found:
            found.append(code)
    return found


def _make_families(
    draw: Random, make: str, codes: tuple[str, str], count: int, articles: dict[str, Article]
) -> list[_Family]:
    """Return the families of a make, oldest first; their articles are added to ``articles``."""
    blades, chips = draw.sample(BLADES, 4), draw.sample(CHIPS, 4)
    carriers = draw.sample(CARRIERS_HZ, 2)
    families = []
    for place in range(count):
        age = place / count
        kind = draw.choices(
            ("mechanical", "chip", "remote", "remote-head", "proximity"),
            (1.0, 1.5, 1.5, 4.0, 0.3) if age < 0.5 else (0.2, 0.8, 0.2, 3.0, 5.0),
        )[0]
        blade = blades[min(3, int(age * 3) + draw.randrange(2))]
        chip = chips[min(3, int(age * 3) + draw.randrange(2))]
        names = _make_members(draw, make, draw.choice(codes), kind, blade, chip, carriers, articles)
        first = FIRST_YEAR - 3 + int(age * (LAST_YEAR - FIRST_YEAR))
        families.append(_Family(kind, first, names))
    return families


def _make_members(
    draw: Random,
    make: str,
    grantee: str,
    kind: str,
    blade: str,
    chip: str,
    carriers: list[float],
    articles: dict[str, Article],
) -> tuple[str, ...]:
    """Return the ids of a family's new articles: numbers in sequence, some on one label, few all alike."""
    stem = "".join(draw.choice(LETTERS) for _ in range(draw.choice((1, 2, 2, 3))))
    hyphen, tail = draw.choice(("", "", "-")), draw.choice(("", draw.choice(LETTERS)))
    number, carrier = draw.randrange(0, 80), draw.choice(carriers)
    radio = kind in LAYOUTS
    layout = draw.choice(LAYOUTS[kind]) if radio else ()
    names = []
    for member in range(draw.randint(2, 4) if not radio else draw.randint(4, 8)):
        twin = member > 0 and draw.random() < 0.04
        if member and not twin:
            if radio and draw.random() < 0.55:
                number += draw.choice((1, 1, 1, 2, 3))
                carrier = draw.choice(carriers) if draw.random() < 0.25 else carrier
                layout = draw.choice(LAYOUTS[kind]) if draw.random() < 0.5 else layout
            elif radio:
                layout = draw.choice([one for one in LAYOUTS[kind] if one != layout])
            if not radio and draw.random() < 0.5:
                blade = draw.choice(BLADES)
            if draw.random() < (0.15 if radio else 0.6):
                chip = draw.choice(CHIPS)
        name = f"{make[-1]}-{len(articles):04d}"
        articles[name] = Article(
            name,
            f"{make} {kind} {name}",
            kind,
            fcc_id=f"{grantee}{hyphen}{stem}{number % 100:02d}{tail}" if radio else "",
            frequency_hz=carrier if radio else None,
            buttons=layout,
            blade="" if kind == "remote" else blade,
            chip=chip if kind not in ("mechanical", "remote") else "",
        )
        names.append(name)
    return tuple(names)


def _make_model(
    draw: Random, make: str, name: str, families: list[_Family], concentration: float
) -> tuple[Model, list[Fitment]]:
    """Return a model with two or three generations, and its rows."""
    cells: dict[tuple[int, str], tuple[Choice, ...]] = {}
    rows: list[Fitment] = []
    year = FIRST_YEAR + draw.randrange(9)
    for _ in range(draw.choice((2, 2, 3))):
        last = min(LAST_YEAR, year + draw.randint(3, 7))
        for start in _draw_starts(draw, year):
            choices = _draw_choices(draw, _pick_family(draw, families, year, start), concentration)
            for one in choices:
                rows.append(Fitment(make, name, year, last, start, "", "", one.article, one.share))
            cells.update({(at, start): choices for at in range(year, last + 1)})
        year = last + 1
        if year > LAST_YEAR:
            break
    return Model(make, name, draw.lognormvariate(0.0, 0.9), cells), rows


def _draw_starts(draw: Random, year: int) -> tuple[str, ...]:
    age = (year - FIRST_YEAR) / (LAST_YEAR - FIRST_YEAR)
    turn, both = max(0.0, 0.9 - 1.1 * age), 0.3
    return draw.choices((("turn",), ("turn", "push"), ("push",)), (turn, both, 0.05 + 0.6 * age))[0]


def _pick_family(draw: Random, families: list[_Family], year: int, start: str) -> _Family:
    """Return a family of the time that goes with the start: proximity with push, the others with turn."""
    fits = [one for one in families if (one.kind == "proximity") == (start == "push")] or families
    return min(fits, key=lambda one: abs(one.first + 2 - year) + draw.uniform(0.0, 4.0))


def _draw_choices(draw: Random, family: _Family, concentration: float) -> tuple[Choice, ...]:
    """Return what one generation takes: neighbours in a family, shares in hundredths."""
    count = min(len(family.articles), draw.choices((1, 2, 3, 4), (20, 35, 30, 15))[0])
    first = draw.randrange(len(family.articles) - count + 1)
    weights = [draw.gammavariate(1.5, 1.0) + 0.05 for _ in range(count)]
    # Most packs claim to be complete; some admit that a few vehicles take something else.
    total = 1.0 if draw.random() < 0.6 else draw.choice((0.9, 0.94, 0.96, 0.98))
    shares = [max(0.01, round(total * weight / sum(weights), 2)) for weight in weights]
    shares[shares.index(max(shares))] += total - sum(shares)
    true = [draw.gammavariate(concentration * share, 1.0) + 1e-9 for share in shares]
    return tuple(
        Choice(name, round(share, 4), total * weight / sum(true))
        for name, share, weight in zip(family.articles[first : first + count], shares, true, strict=True)
    )
