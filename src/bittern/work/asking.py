"""Questions that a customer can answer: what is sent, and what the job then waits for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.facts import AskedCustomer, JobFile
from bittern.work.people import Person
from bittern.work.ports import Desk, ShopTerms


@dataclass(frozen=True, slots=True)
class CustomerQuestion:
    """A question as a customer understands it.

    ``ask`` is the question, ``look`` where the answer is found, ``reply`` what to send back, ``how`` the way
    in which such an answer is usually got, ``caution`` what could go wrong with it.
    """

    ask: str
    look: str
    reply: str
    how: str
    caution: str = ""


CUSTOMER_QUESTIONS: dict[str, CustomerQuestion] = {
    "fcc_id": CustomerQuestion(
        "What does the label of your remote say after “FCC ID”?",
        "Turn the remote over and read its back. No label there? Open the battery cover: it may be inside.",
        "Reply with the letters and digits as they stand, or with a sharp photo of the label.",
        "read-aloud",
        "Keep the battery away from children: swallowed, it does harm within hours.",
    ),
    "button_count": CustomerQuestion(
        "How many buttons has your remote?",
        "Count front, back and edges, and the ones that are worn or broken too.",
        "Reply with the number. A key without any button counts as 0.",
        "told",
    ),
    "buttons": CustomerQuestion(
        "What is on each button of your remote?",
        "Look at front, back and edges, and at the worn ones too.",
        "Reply with a word for each, such as lock, unlock, boot, or with a photo of each side.",
        "told",
    ),
    "start": CustomerQuestion(
        "How is the engine of your vehicle started?",
        "Look beside the steering wheel: a lock that a key is turned in, or a button that is pressed?",
        "Reply “key” or “button”.",
        "told",
    ),
    "blade": CustomerQuestion(
        "What does the metal blade of your key look like?",
        "Lay it flat on white paper beside a ruler. A remote without a blade may have one inside.",
        "Reply with a photo taken from straight above, with the whole blade and the ruler in it.",
        "photographed",
        "A photo shows the cuts: send it to us alone, and delete it when we have answered.",
    ),
}


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent: no name, number plate, vehicle or telephone number; the job's number is the reference."""

    subject: str
    text: str


def compose_message(terms: ShopTerms, job: JobFile, kind: str) -> Message:
    """Return the question of ``kind`` as a short message.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from bittern.work.facts import Request
    >>> request, day = Request(want="spare", customer="Ansel Quaking"), datetime(2026, 1, 2, tzinfo=UTC)
    >>> job = JobFile(number=12, opened_at=day, opened_by="cora", request=request)
    >>> print(compose_message(ShopTerms(name="Fenside Keys"), job, "start").text)
    Fenside Keys, job 12: a question about your key.
    <BLANKLINE>
    How is the engine of your vehicle started?
    Look beside the steering wheel: a lock that a key is turned in, or a button that is pressed?
    Reply “key” or “button”.
    """
    question = CUSTOMER_QUESTIONS[kind]
    # A shop without a name of its own on papers is not called "unnamed" to a customer.
    sender = f"{terms.name}, job" if terms.name != ShopTerms().name else "Job"
    subject = f"{sender} {job.number}: a question about your key"
    lines = [question.ask, question.look, question.reply, *filter(None, [question.caution])]
    return Message(subject, "\n".join([f"{subject}.", "", *lines]))


def record_question_sent(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record that the customer was sent a question: field question, an observation kind; no evidence."""
    entry = Entry(data)
    kind = entry.choice("question", tuple(CUSTOMER_QUESTIONS))
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        others = tuple(one for one in change.job.asked if one.kind != kind)
        asked = AskedCustomer(kind=kind, by=person.login, at=change.now)
        change.put(asked=(*others, asked))
        change.log("key.question-sent", question=kind)


def drop_asked(job: JobFile, kind: str) -> tuple[AskedCustomer, ...]:
    """Return the questions that still wait once ``kind`` is answered: the buttons tell their number too."""
    answered = {kind, "button_count"} if kind == "buttons" else {kind}
    return tuple(one for one in job.asked if one.kind not in answered)
