"""The Key leg: what is known so far, which articles fit how well, and what to ask next."""

from __future__ import annotations

from typing import Any

from bittern.bench.pages.keywords import HOW_WORDS, KIND_WORDS, say_value
from bittern.bench.pages.questions import find_struck, sort_questions
from bittern.bench.pages.second import REFUSED, list_records
from bittern.core.phrases import join_words
from bittern.formats.packs import Pack
from bittern.work.facts import JobFile, Seen
from bittern.work.key import weigh
from bittern.work.lessons import OTHER_REASON, WHY_REFUSED
from bittern.work.people import Person
from bittern.work.ports import Desk


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return candidates, what is known, and the questions, the most useful first."""
    found = weigh(desk, job)
    articles = desk.pack.articles
    questions = sort_questions(desk, job, found)
    known = [describe_seen(desk.pack, place, one) for place, one in enumerate(job.observations, 1)]
    return {
        "found": found,
        "candidates": [(articles[one.article], one) for one in found.candidates],
        "leading": articles[found.candidates[0].article] if found.candidates else None,
        "leading_chance": found.candidates[0].probability if found.candidates else 0.0,
        "order": articles.get(found.order) if found.order else None,
        "bar": desk.terms.bar,
        "currency": desk.pack.currency,
        "known": known,
        "conflicts": [(sentence, find_struck(known, sentence)) for sentence in found.conflicts],
        "waiting": [
            {"word": KIND_WORDS.get(one.kind, one.kind), "kind": one.kind, "by": one.by, "at": one.at}
            for one in job.asked
        ],
        "question": questions.lead,
        "questions": questions.others,
        "folded": questions.folded,
        "stop_best": questions.stop_best,
        # Folded away, but not while an answer is looked for there.
        "fold_open": any(one.waiting_since for one in questions.folded),
        "taps": {one.article: f"{one.article}, {100 * one.probability:.0f} %" for one in found.candidates},
        "hows": HOW_WORDS,
        # What another article than the one taken would clear.
        "refused": [(one, WHY_REFUSED.get(one.why, OTHER_REASON)[0]) for one in job.refused],
        "why_refused": [(name, word) for name, (word, _) in WHY_REFUSED.items()],
        "refusal_clears": join_words(list_records(job, REFUSED)),
        "losses": join_words(list_records(job, ("promise", "blade", "pairing", "proof"))) if job.key else "",
    }


def describe_seen(pack: Pack, position: int, seen: Seen) -> dict[str, object]:
    """Return an observation in words."""
    return {
        "position": position,
        "kind": seen.kind,
        "word": KIND_WORDS.get(seen.kind, seen.kind),
        "value": say_value(pack, seen.kind, seen.value, seen.sd),
        "how": "" if seen.value is None else HOW_WORDS.get(seen.how, seen.how),
        "by": seen.by,
        "at": seen.at,
    }
