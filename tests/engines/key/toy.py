"""A small invented catalogue whose every chance can be worked out by hand."""

from __future__ import annotations

import random

from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.key.evidence import Vehicle

BUTTONS = ("lock", "unlock", "boot", "panic")


def article(name: str, **features: object) -> Article:
    return Article(name, name, "remote", **features)  # type: ignore[arg-type]


def fitment(model: str, years: tuple[int, int], start: str, name: str, share: float) -> Fitment:
    return Fitment("Heron", model, *years, start, "", "", name, share)


def toy_catalogue() -> Catalogue:
    """Two models; "One" has turn keys in all years and a push remote in its last two."""
    articles = [
        article(
            "T-2", fcc_id="KX4-HM22", buttons=BUTTONS[:2], frequency_hz=433.92e6, blade="heron-8", chip="c1"
        ),
        article(
            "T-3", fcc_id="KX4-HB31", buttons=BUTTONS[:3], frequency_hz=315.0e6, blade="heron-8", chip="c1"
        ),
        article("P-4", fcc_id="KX4-PR78", buttons=BUTTONS, frequency_hz=434.42e6, blade="heron-6", chip="c2"),
        article("M-0", blade="heron-8", chip="c1"),
        article("T-1", fcc_id="2AB7Q9ZT1", buttons=BUTTONS[:1], frequency_hz=868.35e6, blade="heron-5"),
    ]
    rows = (
        fitment("One", (2014, 2017), "turn", "T-2", 0.5),
        fitment("One", (2014, 2017), "turn", "T-3", 0.3),
        fitment("One", (2014, 2015), "turn", "M-0", 0.1),
        fitment("One", (2016, 2017), "push", "P-4", 0.9),
        fitment("Two", (2010, 2012), "turn", "T-1", 1.0),
    )
    return Catalogue({one.article: one for one in articles}, rows)


ONE_2015 = Vehicle(make="Heron", model="One", year=2015)
ONE_2016 = Vehicle(make="Heron", model="One", year=2016)


def wide_catalogue(fitments: int, seed: int = 7) -> Catalogue:
    """Return an invented catalogue with about ``fitments`` rows."""
    draw = random.Random(seed)
    articles: dict[str, Article] = {}
    rows: list[Fitment] = []
    model = 0
    while len(rows) < fitments:
        make, model = f"Make {model % 12}", model + 1
        first = 2004 + draw.randrange(12)
        last = first + draw.randrange(2, 7)
        for start in draw.sample(["turn", "push"], draw.choice([1, 1, 2])):
            weights = [draw.uniform(0.2, 1.0) for _ in range(draw.choice([1, 2, 2, 3]))]
            for weight in weights:
                name = f"A-{len(articles):05d}"
                articles[name] = _draw_article(draw, name, model)
                share = round(0.95 * weight / sum(weights), 4)
                rows.append(Fitment(make, f"Model {model}", first, last, start, "", "", name, share))
    return Catalogue(articles, tuple(rows))


def _draw_article(draw: random.Random, name: str, model: int) -> Article:
    code = "".join(draw.choice("0123456789ABHKMXZ") for _ in range(draw.choice([4, 5, 6])))
    return article(
        name,
        fcc_id=f"K{'ABCDEFGHJK'[model % 10]}{2 + model % 7}-{code}" if draw.random() < 0.9 else "",
        buttons=tuple(word for word in BUTTONS if word in BUTTONS[:2] or draw.random() < 0.5),
        frequency_hz=draw.choice([315.0e6, 433.92e6, 434.42e6, 868.35e6]),
        blade=f"blade-{draw.randrange(8)}",
        chip=draw.choice(["c1", "c2", "c3"]),
    )
