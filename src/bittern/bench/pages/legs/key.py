"""The Key leg: what is known so far, which articles fit how well, and what to ask next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from bittern.bench.pages.second import list_records
from bittern.bench.pages.sketch import draw_blades
from bittern.core.phrases import join_words
from bittern.engines.key.evidence import KINDS
from bittern.engines.key.questions import QUESTIONS
from bittern.formats.packs import Pack
from bittern.work.facts import JobFile, Seen
from bittern.work.key import weigh
from bittern.work.people import Person
from bittern.work.ports import Desk

KIND_WORDS = {
    "fcc_id": "FCC identifier",
    "button_count": "Number of buttons",
    "buttons": "Buttons",
    "start": "How it starts",
    "blade": "Blade",
    "frequency_hz": "Frequency",
    "chip": "Chip",
}
HOW_WORDS = {
    "told": "the customer says so",
    "read-aloud": "read aloud to us",
    "seen": "seen by us",
    "photographed": "seen on a photo",
    "measured": "measured",
}
START_WORDS = {"turn": "by turning a key", "push": "by pressing a button"}
SKETCH_WHERE = "Compare the blade, or the emergency blade from inside the remote, with the drawings."
SKETCH_WORDS = "All to one scale, not life size, with invented cuts: compare length, width and cut edges."
# An answer that the pack does not list is evidence as well.
ANOTHER_BLADE = "none-of-these"


@dataclass(frozen=True, slots=True)
class QuestionForm:
    """A question with the form of its answer: ``form`` names the kind of field."""

    kind: str
    word: str
    text: str
    where: str
    how: str
    form: str
    options: dict[str, str]
    gain: str = ""
    help: str = ""
    drawings: Mapping[str, str] = field(default_factory=dict)


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return candidates, what is known, and the questions, the most useful first."""
    found = weigh(desk, job)
    articles = desk.pack.articles
    questions = list_questions(desk.pack, job, found.ask)
    return {
        "found": found,
        "candidates": [(articles[one.article], one) for one in found.candidates],
        "leading": articles[found.candidates[0].article] if found.candidates else None,
        "leading_chance": found.candidates[0].probability if found.candidates else 0.0,
        "order": articles.get(found.order) if found.order else None,
        "bar": desk.terms.bar,
        "currency": desk.pack.currency,
        "known": [describe_seen(desk.pack, place, one) for place, one in enumerate(job.observations, 1)],
        "question": questions[0] if questions else None,
        "questions": questions[1:],
        "hows": HOW_WORDS,
        # What another article than the one taken would clear.
        "losses": join_words(list_records(job, ("promise", "blade", "pairing", "proof"))) if job.key else "",
    }


def describe_seen(pack: Pack, position: int, seen: Seen) -> dict[str, object]:
    """Return an observation in words."""
    return {
        "position": position,
        "word": KIND_WORDS.get(seen.kind, seen.kind),
        "value": _say_value(pack, seen),
        "how": "" if seen.value is None else HOW_WORDS.get(seen.how, seen.how),
        "by": seen.by,
        "at": seen.at,
    }


def list_questions(pack: Pack, job: JobFile, asks: Any) -> list[QuestionForm]:
    """Return a form for each question: those worth asking first, then the rest not yet answered."""
    worth = {ask.question: ask for ask in asks}
    answered = {one.kind for one in job.observations}
    rest = [kind for kind in KINDS if kind not in worth and kind not in answered]
    return [_make_form(pack, kind, worth.get(kind)) for kind in (*worth, *rest)]


def _make_form(pack: Pack, kind: str, ask: Any) -> QuestionForm:
    question = QUESTIONS[kind]
    form, options, where, help_text = "text", {}, question.where, ""
    drawings: Mapping[str, str] = {}
    if kind == "buttons":
        form = "checks"
        options = {word: word for word in sorted({b for a in pack.articles.values() for b in a.buttons})}
    elif kind == "start":
        form, options = "one", {value: words.capitalize() for value, words in START_WORDS.items()}
    elif kind == "blade":
        form = "one"
        options = {blade.id: blade.title for blade in pack.blades.values()}
        options[ANOTHER_BLADE] = "None of these"
        drawings, where, help_text = draw_blades(pack), SKETCH_WHERE, SKETCH_WORDS
    elif kind == "chip":
        form = "suggest"
        options = {chip: chip for chip in sorted({a.chip for a in pack.articles.values() if a.chip})}
    elif kind == "button_count":
        form = "whole"
    elif kind == "frequency_hz":
        form = "mhz"
    return QuestionForm(
        kind,
        KIND_WORDS[kind],
        question.text,
        where,
        question.how,
        form,
        options,
        _say_gain(ask),
        help_text,
        drawings,
    )


def _say_gain(ask: Any) -> str:
    if ask is None:
        return ""
    if ask.p_settles >= 0.005:
        return f"The answer settles it with a chance of {100 * ask.p_settles:.0f} %."
    return "The answer narrows it down."


def _say_value(pack: Pack, seen: Seen) -> str:
    value = seen.value
    if value is None:
        return "asked, cannot be had"
    if seen.kind == "frequency_hz" and isinstance(value, int | float):
        return f"{value / 1e6:.3f} MHz" + (f" ± {seen.sd / 1e6:.3f} MHz" if seen.sd else "")
    if isinstance(value, list):
        return ", ".join(value)
    if seen.kind == "start":
        return START_WORDS.get(str(value), str(value))
    if seen.kind == "blade":
        if value == ANOTHER_BLADE:
            return "none of the pack's blades"
        return pack.blades[str(value)].title if str(value) in pack.blades else str(value)
    return str(value)
