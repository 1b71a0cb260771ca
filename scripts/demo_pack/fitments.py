"""Which key goes with which vehicle: invented generations of every model, and the patterns of their"
" numbers."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random

from bittern.engines.key.catalogue import Article, Fitment
from bittern.engines.vehicle.pattern import NumberPattern
from demo_pack.makes import MAKES, Make

LAST_YEAR = 2025
TURN_SHEETS = {
    "marsh": "marsh-turn-pair", "fen": "fen-turn-pair", "fell": "fell-turn-pair", "tide": "tide-turn-renew",
    "reed": "reed-turn-spare",
}  # fmt: skip
PUSH_SHEETS = {
    "marsh": "marsh-push-pair", "fen": "fen-push-renew", "fell": "fell-push-pair", "tide": "tide-push-pair",
    "reed": "reed-push-spare",
}  # fmt: skip
REMOTE_SHEETS = {
    "marsh": "marsh-remote-sync", "fell": "marsh-remote-sync", "fen": "tide-remote-sync",
    "tide": "tide-remote-sync", "reed": "tide-remote-sync",
}  # fmt: skip
Choices = tuple[tuple[str, tuple[str, ...]], ...]
# What a generation's vehicles take, by their start: the suffixes of the make's articles, most frequent first.
OLD: Choices = (("turn", ("C1", "M1")), ("turn", ("C1", "R2")), ("turn", ("M1", "C1", "R2")))
MIDDLE: Choices = (
    ("turn", ("H3", "H4")),
    ("turn", ("H3", "H3N")),
    ("turn", ("H4", "H3", "H3N")),
    ("turn", ("C2", "H3")),
)
NEW: Choices = (
    ("push", ("P3", "P4")),
    ("push", ("P4", "P5")),
    ("push", ("P3", "P4", "P5")),
    ("push", ("P5",)),
)
# A character of the number's position 6 that tells how the vehicle starts.
START_LETTERS = {"turn": "K", "push": "P"}
LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"


def make_fitments(
    articles: dict[str, Article], of_make: dict[str, dict[str, str]], random: Random
) -> tuple[Fitment, ...]:
    """Return the fitments of all makes in the order of make, model and years."""
    rows: list[Fitment] = []
    for make in MAKES:
        for number, model in enumerate(make.models):
            for first, last, start, trim, suffixes in _make_generations(number, random):
                names = [of_make[make.name][suffix] for suffix in suffixes if suffix in of_make[make.name]]
                shares = _make_shares(len(names), random)
                for name, share in zip(names, shares, strict=True):
                    sheet = _find_sheet(make, articles[name])
                    rows.append(Fitment(make.name, model, first, last, start, trim, "", name, share, sheet))
    return tuple(rows)


def _make_generations(number: int, random: Random) -> Iterator[tuple[int, int, str, str, tuple[str, ...]]]:
    """Yield first and last year, start, trim and articles of each generation of a make's model.

    A make's first model has been built longest and the others take turns, so that no article is without a
    vehicle.
    """
    year = 1999 if number == 0 else random.choice((1997, 2002, 2005, 2008, 2011, 2014))
    if year < 2006:
        last = random.randint(2006, 2008)
        start, suffixes = OLD[(number + 2) % len(OLD)]
        yield year, last, start, "", suffixes
        year = last + 1
    last = random.randint(2015, 2018)
    start, suffixes = MIDDLE[number % len(MIDDLE)]
    yield year, last, start, "", suffixes
    if random.random() < 0.3:
        # The dearer trims of these years already start by a button.
        yield year + 1, last, "push", "touring", ("P3",)
    if number == 0 or random.random() < 0.8:
        year, last = last + 1, random.choice((LAST_YEAR, LAST_YEAR, LAST_YEAR - 2))
        if random.random() < 0.3:
            yield year, last, "turn", "base", ("H4",)
        start, suffixes = NEW[(number + 2) % len(NEW)]
        yield year, last, start, "", suffixes


def _make_shares(count: int, random: Random) -> list[float]:
    """Return shares in falling order that sum to 0.85 to 0.98: the rest is what the pack does not know."""
    total = random.randint(85, 98)
    weights = sorted((random.uniform(0.3, 1.0) for _ in range(count)), reverse=True)
    parts = [int(total * weight / sum(weights)) for weight in weights]
    parts[0] += total - sum(parts)
    return [part / 100 for part in parts]


def _find_sheet(make: Make, article: Article) -> str:
    if article.kind == "mechanical":
        return ""
    if article.kind == "remote":
        return REMOTE_SHEETS[make.family]
    return (PUSH_SHEETS if article.kind == "proximity" else TURN_SHEETS)[make.family]


def make_numbers(fitments: tuple[Fitment, ...]) -> tuple[NumberPattern, ...]:
    """Return the number patterns: each model is built in one or two of its make's works, told apart by"
    " the WMI."""
    starts: dict[tuple[str, str], set[str]] = {}
    for row in fitments:
        starts.setdefault((row.make, row.model), set()).add(row.start)
    patterns: list[NumberPattern] = []
    for make in MAKES:
        for number, model in enumerate(make.models):
            code = LETTERS[(number * 5 + len(make.name)) % len(LETTERS)] + str(number + 2)
            works = (make.wmis[number % len(make.wmis)], make.wmis[0])
            patterns += [
                NumberPattern(wmi, f"{code}{START_LETTERS[start]}**", make.name, model, "", start)
                for wmi in dict.fromkeys(works)
                for start in sorted(starts[make.name, model], reverse=True)
            ]
    return tuple(patterns)
