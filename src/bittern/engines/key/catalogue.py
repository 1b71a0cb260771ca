"""What a pack says about keys: articles and the vehicles they go with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

ARTICLE_KINDS = ("mechanical", "chip", "remote-head", "remote", "proximity")
STARTS = ("turn", "push")


@dataclass(frozen=True, slots=True)
class Article:
    """One orderable key or remote.

    ``frequency_hz`` is None where the article has no radio; ``blade`` is a blade standard's id or empty;
    ``cost`` and ``price`` are in the pack's currency.
    """

    article: str
    title: str
    kind: str
    fcc_id: str = ""
    other_id: str = ""
    frequency_hz: float | None = None
    modulation: str = ""
    buttons: tuple[str, ...] = ()
    blade: str = ""
    chip: str = ""
    battery: str = ""
    cost: Decimal = Decimal(0)
    price: Decimal = Decimal(0)
    supplier: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Fitment:
    """One row: among vehicles of this make, model, years and start, ``share`` take ``article``."""

    make: str
    model: str
    year_from: int
    year_to: int
    start: str
    trim: str
    region: str
    article: str
    share: float
    runsheet: str = ""


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Articles by id and the fitments that point at them, a tuple or a table of many."""

    articles: Mapping[str, Article]
    fitments: Sequence[Fitment]
