"""The Promise leg: what it will cost, how long it takes, what the customer must bring."""

from __future__ import annotations

from typing import Any

from bittern.work.facts import JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.promise import draw_promise, find_sheet, say_promise
from bittern.work.settled import needs_pairing

HOW_WORDS = {
    "in-person": "In person",
    "by-telephone": "By telephone",
    "in-writing": "In writing",
}


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return the promise on record, or the one that would be offered now."""
    promise = job.promise
    if promise is None and job.key is not None:
        promise = draw_promise(job, find_sheet(desk, job), desk.terms, desk.pack.currency)
    return {
        "promise": promise,
        "said": say_promise(promise, paired=needs_pairing(job)) if promise else "",
        "paired": needs_pairing(job),
        # Where no key is lost by it, nobody need count them.
        "ask_keys": promise is not None and bool(promise.keys_say) and job.request.want != "all-lost",
        "drawn_only": job.promise is None,
        "tax_percent": desk.terms.tax_percent,
        "how_words": HOW_WORDS,
    }
