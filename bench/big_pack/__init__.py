"""An invented pack of any size, seeded: for what is measured on catalogues of a whole country."""

from __future__ import annotations

import random

from bittern.engines.key.catalogue import Article, Catalogue
from bittern.engines.key.fitments import FitmentDraft, FitmentTable

MAKES = 50
_FAMILIES, _LAYOUTS = 300, 14
_WORDS = ("boot", "panic", "start", "left-door", "right-door", "horn", "window")


def make_catalogue(rows: int, seed: int = 1) -> Catalogue:
    """Return a catalogue of ``rows`` fitments, ten to three articles.

    Articles are of one of 300 families (radio, blade, chip) with one of 14 layouts of buttons; one in ten has
    no identifier.
    """
    draw = random.Random(seed)
    families = [
        (
            draw.choice([315e6, 433.92e6, 434.42e6, 868.35e6]),
            f"blade-{draw.randrange(60)}",
            f"chip-{draw.randrange(12)}",
        )
        for _ in range(_FAMILIES)
    ]
    layouts = [("lock", "unlock", *(word for word in _WORDS if draw.random() < 0.3)) for _ in range(_LAYOUTS)]
    articles: dict[str, Article] = {}
    names: list[str] = []
    table = FitmentDraft()
    model = 0
    while len(table.share) < rows:
        model += 1
        first = 2004 + draw.randrange(12)
        last = first + draw.randrange(2, 7)
        here: set[str] = set()
        for _ in range(min(draw.choice([1, 2, 3]), rows - len(table.share))):
            name = names[-1 - draw.randrange(min(60, len(names)))] if names else ""
            if not name or name in here or draw.random() < 0.3:
                name = f"A-{len(names):06d}"
                names.append(name)
                family, layout = draw.choice(families), draw.choice(layouts)
                articles[name] = _draw_article(draw, name, model, *family, layout)
            here.add(name)
            start = draw.choice(["turn", "push"])
            table.add(f"Make {model % MAKES}", f"Model {model}", first, last, start, "", "", name, 0.3, "")
    return Catalogue(articles, FitmentTable(table))


def _draw_article(
    draw: random.Random,
    name: str,
    model: int,
    frequency_hz: float,
    blade: str,
    chip: str,
    buttons: tuple[str, ...],
) -> Article:
    code = "".join(draw.choice("0123456789ABHKMXZ") for _ in range(6))
    label = f"K{'ABCDEFGHJKLMNP'[model % 14]}{2 + model % 7}-{code}"
    return Article(
        name,
        name,
        "remote",
        fcc_id=label if draw.random() < 0.9 else "",
        frequency_hz=frequency_hz,
        buttons=buttons,
        blade=blade,
        chip=chip,
    )
