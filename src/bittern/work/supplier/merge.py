"""A list laid over a pack by a rule that is shown: a new pack, and what is new, changed or the same in it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from bittern.core.errors import Fault, shorten
from bittern.engines.key.catalogue import Article
from bittern.formats.list_layers import FILL, KEEP, TAKE, Layer
from bittern.formats.pack_tables import ARTICLE_COLUMNS
from bittern.formats.packs import Pack
from bittern.work.supplier.fields import ARTICLE_FIELDS

FAULTS_KEPT = 500
RULE_WORDS = {
    KEEP: "Keep ours: what the pack says stays, only new articles and fitments come in",
    FILL: "Only fill empty: as before, and what is empty in ours is filled from the list",
    TAKE: "Take theirs: where the list says something, it counts",
}
_ZERO = Decimal(0)


@dataclass(slots=True)
class Counts:
    """Of articles or fitments: new ones, changed ones, those that are the same, those left out.

    ``conflict`` counts those of which list and pack say different things; the rule has decided them, so they
    stand among ``changed`` or ``same`` as well.
    """

    new: int = 0
    changed: int = 0
    same: int = 0
    conflict: int = 0
    left_out: int = 0

    def as_dict(self) -> dict[str, int]:
        """Return the JSON shape."""
        return {
            "new": self.new,
            "changed": self.changed,
            "same": self.same,
            "conflict": self.conflict,
            "left_out": self.left_out,
        }


@dataclass(slots=True)
class MergeReport:
    """What a list changes in a pack.

    Attributes
    ----------
    offers
        Numbers of the list and the pack's that may be the same article: FCC identifier, buttons and blade
        are equal.
    notes
        What was emptied or assumed, with the count of rows.
    """

    articles: Counts = field(default_factory=Counts)
    fitments: Counts = field(default_factory=Counts)
    offers: tuple[tuple[str, str], ...] = ()
    faults: list[Fault] = field(default_factory=list)
    fault_count: int = 0
    notes: dict[str, int] = field(default_factory=dict)

    @property
    def changes(self) -> int:
        """How many articles and fitments the pack gains or sees changed."""
        return self.articles.new + self.articles.changed + self.fitments.new + self.fitments.changed

    def add_fault(self, row: int, column: str, found: str, expected: str) -> None:
        """Note a fault of a row of the list."""
        self.fault_count += 1
        if len(self.faults) < FAULTS_KEPT:
            self.faults.append(Fault(f"row {row}, column {column}", found, expected))

    def add_note(self, note: str, rows: int = 1) -> None:
        """Note something about so many rows."""
        if rows:
            self.notes[note] = self.notes.get(note, 0) + rows

    def as_dict(self) -> dict[str, object]:
        """Return the JSON shape."""
        return {
            "articles": self.articles.as_dict(),
            "fitments": self.fitments.as_dict(),
            "offers": [list(pair) for pair in self.offers],
            "fault_count": self.fault_count,
            "faults": [fault.as_dict() for fault in self.faults],
            "notes": self.notes,
        }


def merge(pack: Pack, layer: Layer, *, step: Callable[[str], None] | None = None) -> tuple[Pack, MergeReport]:
    """Return the pack with the list laid over it; every rule that ``pack check`` knows still holds.

    An article is the same where its number is equal, or where ``layer.joined`` says so. A fitment is the same
    where make, model, years, start, trim, region and article are; capitals make no difference. References to
    blade standards and run sheets that the pack has not are emptied and noted; fitments of articles that
    neither pack nor list has are left out as faults.

    Parameters
    ----------
    step
        Called with a word about each step; may raise to end the work.
    """
    from bittern.work.supplier.merge_fitments import merge_fitments

    tell = step or (lambda word: None)
    report = MergeReport(offers=find_offers(pack, layer))
    tell("comparing the articles")
    articles = _merge_articles(pack, layer, report)
    tell("comparing the fitments")
    fitments = merge_fitments(pack, layer, articles, report)
    if fitments is None and articles == pack.articles:
        return pack, report
    merged = replace(pack, articles=articles, fitments=pack.fitments if fitments is None else fitments)
    return merged, report


def find_offers(pack: Pack, layer: Layer) -> tuple[tuple[str, str], ...]:
    """Return the pairs of the list's and the pack's article that may be one; nothing is joined here."""
    ours: dict[tuple[str, frozenset[str], str], list[str]] = {}
    for article in pack.articles.values():
        if article.fcc_id:
            ours.setdefault(_identity(article.fcc_id, article.buttons, article.blade), []).append(
                article.article
            )
    columns = layer.articles
    pairs = []
    for place in range(len(layer.article_rows)):
        number, fcc_id = columns["article"][place], columns["fcc_id"][place]
        if not fcc_id or number in pack.articles:
            continue
        buttons = columns["buttons"][place]
        found = ours.get(
            _identity(fcc_id, buttons.split("|") if buttons else (), columns["blade"][place]), []
        )
        if len(found) == 1:
            pairs.append((number, found[0]))
    return tuple(pairs)


def _identity(fcc_id: str, buttons: Sequence[str], blade: str) -> tuple[str, frozenset[str], str]:
    return fcc_id.replace("-", ""), frozenset(buttons), blade


def _merge_articles(pack: Pack, layer: Layer, report: MergeReport) -> dict[str, Article]:
    articles = dict(pack.articles)
    joined = dict(layer.joined)
    columns = [layer.articles[name] for name in ARTICLE_COLUMNS]
    for place in range(len(layer.article_rows)):
        said = dict(zip(ARTICLE_COLUMNS, [words[place] for words in columns], strict=True))
        said["article"] = joined.get(said["article"], said["article"])
        if said["blade"] and said["blade"] not in pack.blades:
            report.add_note(f"blade standard {shorten(said['blade'])} is not in the pack: left empty")
            said["blade"] = ""
        ours = articles.get(said["article"])
        if ours is None:
            articles[said["article"]] = _make_article(said)
            report.articles.new += 1
            continue
        made, differs = _combine(ours, said, layer.rule)
        report.articles.conflict += differs
        if made == ours:
            report.articles.same += 1
        else:
            articles[said["article"]] = made
            report.articles.changed += 1
    return articles


def _make_article(said: Mapping[str, str]) -> Article:
    return Article(
        **{
            **said,
            "frequency_hz": float(said["frequency_hz"]) if said["frequency_hz"] else None,
            "buttons": tuple(said["buttons"].split("|")) if said["buttons"] else (),
            "cost": Decimal(said["cost"]) if said["cost"] else _ZERO,
            "price": Decimal(said["price"]) if said["price"] else _ZERO,
        }  # type: ignore[arg-type]
    )


def _combine(ours: Article, said: Mapping[str, str], rule: str) -> tuple[Article, bool]:
    """Return our article after the list has spoken, and whether the two differ where both say something."""
    theirs = _make_article(said)
    changes: dict[str, object] = {}
    differs = False
    for name in ARTICLE_FIELDS:
        mine, new = getattr(ours, name), getattr(theirs, name)
        if not said[name] or mine == new or (name == "buttons" and set(mine) == set(new)):
            continue
        # A sum of nothing is what a pack has where no price is known.
        if not mine:
            if rule != KEEP:
                changes[name] = new
            continue
        differs = True
        if rule == TAKE:
            changes[name] = new
    return (replace(ours, **changes) if changes else ours), differs  # type: ignore[arg-type]
