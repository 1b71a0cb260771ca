"""From a make's few facts to its articles: ten keys from the oldest, all metal, to the newest with five"
" buttons."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from random import Random

from bittern.engines.key.catalogue import Article
from demo_pack.makes import MAKES, Make

SUPPLIERS = ("Saltgate Trading", "Lantern Row Parts", "Oxbow Lane Supply")
# Characters that people mix up when they read a worn label or listen on the telephone. Each make has two
# articles whose identifiers differ by one such pair.
NEAR = (("8", "B"), ("0", "O"), ("5", "S"), ("2", "Z"), ("1", "I"), ("6", "G"))
TWO, THREE = ("lock", "unlock"), ("lock", "unlock", "boot")
FOUR, FIVE = (*THREE, "panic"), (*THREE, "panic", "start")


@dataclass(frozen=True)
class Draft:
    """One kind of article that every make has: how it differs from the make's others.

    ``age`` picks blade and chip (0 oldest), ``carrier`` the make's first or second frequency; ``label`` names
    the identifier, so that articles with the same label share it, and ``near`` makes it that label's twin.
    """

    suffix: str
    title: str
    kind: str
    age: int
    cost: float
    carrier: int | None = None
    label: str = ""
    near: bool = False
    buttons: tuple[str, ...] = ()
    battery: str = ""
    modulation: str = ""


DRAFTS = (
    Draft("M1", "Key, all metal", "mechanical", 0, 2.40),
    Draft("C1", "Key with chip", "chip", 0, 9.80),
    Draft("R2", "Remote without blade, 2 buttons", "remote", 0, 14.50, 0, "R", False, TWO, "CR1620", "ook"),
    Draft("H3", "Key with remote, 3 buttons", "remote-head", 1, 24.00, 0, "H", False, THREE, "CR2032", "ook"),
    Draft("H4", "Key with remote, 4 buttons", "remote-head", 1, 26.50, 0, "H", False, FOUR, "CR2032", "ook"),
    Draft(
        "H3N",
        "Key with remote, 3 buttons, later radio",
        "remote-head",
        1,
        27.00,
        1,
        "H",
        True,
        THREE,
        "CR2016",
        "fsk",
    ),
    Draft(
        "P3",
        "Proximity key, 3 buttons, emergency blade",
        "proximity",
        2,
        46.00,
        0,
        "P",
        False,
        THREE,
        "CR2032",
        "fsk",
    ),
    Draft(
        "P4",
        "Proximity key, 4 buttons, emergency blade",
        "proximity",
        2,
        49.50,
        0,
        "P",
        False,
        FOUR,
        "CR2032",
        "fsk",
    ),
    Draft(
        "P5",
        "Proximity key, 5 buttons, emergency blade",
        "proximity",
        2,
        58.00,
        1,
        "P",
        True,
        FIVE,
        "CR2450",
        "fsk",
    ),
)
# Six makes also sell a chip key for their middle years.
MIDDLE_CHIP = Draft("C2", "Key with chip, later lock", "chip", 1, 12.20)

# Two makes that buy their remotes from the same workshop: the identifier alone does not tell them apart.
SAME_REMOTE = {"Corrigell": "Brackwyn", "Morvane": "Tarnholt"}


def make_articles(random: Random) -> tuple[dict[str, Article], dict[str, dict[str, str]]]:
    """Return all articles by id, and for each make the article of each draft's suffix."""
    articles: dict[str, Article] = {}
    of_make: dict[str, dict[str, str]] = {}
    identifiers: dict[str, dict[str, tuple[str, str]]] = {}
    for number, make in enumerate(MAKES):
        labels = {label: _make_identifiers(make, label, random) for label in "RHP"}
        identifiers[make.name] = labels
        if make.name in SAME_REMOTE:
            labels["R"] = identifiers[SAME_REMOTE[make.name]]["R"]
        drafts = [*DRAFTS, MIDDLE_CHIP] if number % 2 == 0 and number < 12 else list(DRAFTS)
        of_make[make.name] = {}
        for draft in drafts:
            article = _make_article(make, draft, labels, random)
            articles[article.article] = article
            of_make[make.name][draft.suffix] = article.article
    return articles, of_make


def _make_identifiers(make: Make, label: str, random: Random) -> tuple[str, str]:
    """Return two identifiers that differ by one pair of characters that are easily mixed up."""
    first, second = random.choice(NEAR)
    head, tail = (
        f"{make.stem}{label}{random.randint(3, 9)}",
        f"{random.randint(3, 9)}{random.choice('AEKTX')}",
    )
    hyphen = "-" if random.random() < 0.3 else ""
    head = f"{make.grantee}{hyphen}{head}"
    return f"{head}{first}{tail}", f"{head}{second}{tail}"


def _make_article(make: Make, draft: Draft, labels: dict[str, tuple[str, str]], random: Random) -> Article:
    cost = Decimal(str(round(draft.cost * random.uniform(0.9, 1.2), 1))).quantize(Decimal("0.01"))
    # The invented shop rounds its prices up to the next half euro.
    price = (cost * Decimal("4.4")).to_integral_value() / 2
    return Article(
        article=f"{make.code}-{draft.suffix}",
        title=f"{make.name} {draft.title[0].lower()}{draft.title[1:]}",
        kind=draft.kind,
        fcc_id=labels[draft.label][draft.near] if draft.label else "",
        other_id=f"{make.code} {random.randint(1000, 9999)}.{random.randint(10, 99)}",
        frequency_hz=None if draft.carrier is None else float(make.carriers_hz[draft.carrier]),
        modulation=draft.modulation,
        buttons=draft.buttons,
        blade="" if draft.kind == "remote" else make.blades[draft.age],
        chip="" if draft.kind in ("mechanical", "remote") else make.chips[draft.age],
        battery=draft.battery,
        cost=cost,
        price=price.quantize(Decimal("0.01")),
        supplier=random.choice(SUPPLIERS),
        notes="Coin cell: keep away from children." if draft.battery else "",
    )
