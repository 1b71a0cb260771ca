"""The questions of the Key leg as forms: why each is asked, what it is worth, how the customer is asked."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from urllib.parse import quote

from django.utils.safestring import SafeString, mark_safe

from bittern.bench.pages.keywords import ANOTHER_BLADE, KIND_WORDS, START_WORDS, say_value
from bittern.bench.pages.sketch import draw_blades
from bittern.engines.key.asking import Ask
from bittern.engines.key.catalogue import Article
from bittern.engines.key.evidence import KINDS
from bittern.engines.key.identification import Identification
from bittern.engines.key.questions import QUESTIONS
from bittern.formats.packs import Pack
from bittern.formats.where_to_look import PICTURES, draw_where
from bittern.work.asking import CUSTOMER_QUESTIONS, compose_message
from bittern.work.facts import JobFile
from bittern.work.ports import Desk

SKETCH_WHERE = "Compare the blade, or the emergency blade from inside the remote, with the drawings."
SKETCH_WORDS = "All to one scale, not life size, with invented cuts: compare length, width and cut edges."
# Candidates that a question is explained by: the likeliest, as far as they count.
MOST_COMPARED = 4
LEAST_COMPARED = 0.02
# More values than this are no list to tap on.
MOST_TAPS = 24


@dataclass(frozen=True, slots=True)
class Worth:
    """What a question is expected to save and what asking costs, in the pack's currency."""

    saving: float
    cost: float
    minutes: float
    pays: bool


@dataclass(frozen=True, slots=True)
class ToCustomer:
    """How the customer is asked: the message, links that carry it, the picture and its words."""

    text: str
    sms: str
    mail: str
    picture: SafeString
    picture_name: str
    picture_words: str
    caution: str


@dataclass(frozen=True, slots=True)
class QuestionForm:
    """A question with the form of its answer: ``form`` names the kind of field."""

    kind: str
    word: str
    text: str
    where: str
    how: str
    form: str
    options: Mapping[str, str]
    gain: str = ""
    help: str = ""
    drawings: Mapping[str, str] = field(default_factory=dict)
    why: str = ""
    worth: Worth | None = None
    customer: ToCustomer | None = None
    waiting_since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Questions:
    """All open questions: the one to ask now, others that are worth it, and those that are not."""

    lead: QuestionForm | None
    others: tuple[QuestionForm, ...]
    folded: tuple[QuestionForm, ...]
    stop_best: QuestionForm | None


def sort_questions(desk: Desk, job: JobFile, found: Identification) -> Questions:
    """Return a form for every question without an answer, the most useful first."""
    asks = {ask.question: ask for ask in (*found.ask, *found.considered)}
    answered = {one.kind for one in job.observations}
    kinds = [*asks, *(kind for kind in KINDS if kind not in asks and kind not in answered)]
    forms = {kind: _make_form(desk, job, found, kind, asks.get(kind)) for kind in kinds}
    asked = [forms[ask.question] for ask in found.ask]
    lead = None if found.settled or not asked else asked[0]
    offered = {one.kind for one in asked}
    folded = tuple(form for kind, form in forms.items() if kind not in offered)
    best = found.stop.best if found.stop else None
    others = tuple(one for one in asked if one is not lead)
    return Questions(lead, others, folded, forms.get(best.question) if best else None)


def _make_form(desk: Desk, job: JobFile, found: Identification, kind: str, ask: Ask | None) -> QuestionForm:
    pack, question = desk.pack, QUESTIONS[kind]
    form, options = _find_field(pack, found, kind)
    sent = next((one for one in job.asked if one.kind == kind), None)
    with_drawings = kind == "blade"
    return QuestionForm(
        kind=kind,
        word=KIND_WORDS[kind],
        text=question.text,
        where=SKETCH_WHERE if with_drawings else question.where,
        # Who waits for the customer writes down what the customer says.
        how=CUSTOMER_QUESTIONS[kind].how if sent else question.how,
        form=form,
        options=options,
        gain=_say_gain(ask),
        help=SKETCH_WORDS if with_drawings else "",
        drawings=draw_blades(pack) if with_drawings else {},
        why=_say_difference(pack, found, kind) if ask else "",
        worth=_weigh_worth(desk, ask) if ask else None,
        customer=_make_customer(desk, job, kind) if kind in CUSTOMER_QUESTIONS else None,
        waiting_since=sent.at if sent else None,
    )


def _find_field(pack: Pack, found: Identification, kind: str) -> tuple[str, dict[str, str]]:
    """Return the kind of field and its options."""
    if kind == "buttons":
        return "checks", {word: word for word in pack.button_words}
    if kind == "start":
        return "one", {value: words.capitalize() for value, words in START_WORDS.items()}
    if kind == "blade":
        titles = {blade.id: blade.title for blade in pack.blades.values()}
        return "one", {**titles, ANOTHER_BLADE: "None of these"}
    if kind == "chip":
        likely = [pack.articles[one.article].chip for one in found.candidates]
        chips = list(dict.fromkeys(chip for chip in (*likely, *pack.chips) if chip))
        return "suggest", {chip: chip for chip in chips[:MOST_TAPS]}
    return {"button_count": "whole", "frequency_hz": "mhz"}.get(kind, "text"), {}


def _say_gain(ask: Ask | None) -> str:
    if ask is None:
        return ""
    if ask.p_settles >= 0.005:
        return f"The answer settles it with a chance of {100 * ask.p_settles:.0f} %."
    return "The answer narrows it down."


def _weigh_worth(desk: Desk, ask: Ask) -> Worth:
    minutes = desk.terms.costs.minutes.get(ask.question, 0.0)
    return Worth(ask.expected_saving, ask.cost, minutes, pays=ask.net_saving > 0.0)


def _say_difference(pack: Pack, found: Identification, kind: str) -> str:
    """Return how the likeliest articles differ in what is asked; "" where a pack does not say it."""
    likely = [one for one in found.candidates[:MOST_COMPARED] if one.probability >= LEAST_COMPARED]
    values = {one.article: _say_feature(pack, pack.articles[one.article], kind) for one in likely}
    if not all(values.values()) or not values:
        return ""
    by_value: dict[str, list[str]] = {}
    for article, value in values.items():
        by_value.setdefault(value, []).append(article)
    said = "; ".join(f"{' and '.join(articles)}: {value}" for value, articles in by_value.items())
    if len(values) > 1 and len(by_value) == 1:
        return f"The likeliest articles agree: {said}. Another answer would speak against all of them."
    return f"What the likeliest would answer: {said}."


def _say_feature(pack: Pack, article: Article, kind: str) -> str:
    feature = {
        "fcc_id": article.fcc_id or "no identifier",
        "button_count": str(len(article.buttons)),
        "buttons": ", ".join(article.buttons) or "none",
        "blade": say_value(pack, kind, article.blade) if article.blade else "no blade",
        "frequency_hz": say_value(pack, kind, article.frequency_hz) if article.frequency_hz else "no radio",
        "chip": article.chip or "no chip",
    }
    return feature.get(kind, "")


def _make_customer(desk: Desk, job: JobFile, kind: str) -> ToCustomer:
    message = compose_message(desk.terms, job, kind)
    phone = re.sub(r"[^0-9+]", "", job.request.phone)
    # RFC 5724 and RFC 6068; the line ends of a mail are CR LF there.
    body = quote(message.text, safe="")
    mail = quote(message.text.replace("\n", "\r\n"), safe="")
    return ToCustomer(
        text=message.text,
        sms=f"sms:{phone}?body={body}",
        mail=f"mailto:?subject={quote(message.subject, safe='')}&body={mail}",
        # Ours alone: no word of a pack or of a person stands in it.
        picture=mark_safe(draw_where(kind)),  # noqa: S308
        picture_name=f"where-to-look-{kind.replace('_', '-')}.png",
        picture_words=PICTURES[kind].words,
        caution=CUSTOMER_QUESTIONS[kind].caution,
    )


def find_struck(known: Sequence[Mapping[str, object]], sentence: str) -> list[Mapping[str, object]]:
    """Return which of the observations ``sentence`` speaks of; all of them where it names none."""
    text = sentence.lower()
    named = []
    for one in known:
        nouns = CONFLICT_NOUNS.get(str(one["kind"]), ())
        if any(noun in text for noun in nouns):
            named.append(one)
    return named or list(known)


# How the engine's sentences name what was observed.
CONFLICT_NOUNS: dict[str, tuple[str, ...]] = {
    "fcc_id": ("identifier", "label"),
    "button_count": ("button",),
    "buttons": ("button",),
    "start": ("start",),
    "blade": ("blade",),
    "frequency_hz": ("frequency",),
    "chip": ("chip",),
}
