"""The one line that stands for a leg when it is closed."""

from __future__ import annotations

from collections.abc import Callable

from bittern.work.documents import join_documents
from bittern.work.facts import JobFile
from bittern.work.prooflist import list_tests

WANT_WORDS = {
    "spare": "one more key",
    "replacement": "a key in place of a broken one",
    "all-lost": "a key; every key is lost",
}


def describe_leg(job: JobFile, leg: str) -> str:
    """Return the line of ``leg``; empty when nothing is on record."""
    return _LINES[leg](job)


def _request(job: JobFile) -> str:
    line = f"{job.request.customer} wants {WANT_WORDS[job.request.want]}"
    if job.authority:
        line += f"; authority seen by {job.authority.seen_by}: {join_documents(job.authority.documents)}"
    return line


def _vehicle(job: JobFile) -> str:
    v = job.vehicle
    if v is None:
        return ""
    parts = [part for part in (v.make, v.model, str(v.year or "")) if part]
    number = v.vin or "no number"
    doubt = (
        ""
        if v.valid
        else f", accepted because {v.accepted_because}"
        if v.accepted_because
        else ", number in doubt"
    )
    return f"{' '.join(parts) or 'make and model open'} ({number}{doubt})"


def _key(job: JobFile) -> str:
    if job.key is None:
        count = len(job.observations)
        return f"{count} observation{'s' if count != 1 else ''}, no article yet" if count else ""
    sure = f"{100 * job.key.probability:.0f} % sure"
    if job.key.accepted_because:
        sure += ", accepted with a reason"
    return f"{job.key.article} {job.key.title} ({sure})"


def _promise(job: JobFile) -> str:
    p = job.promise
    if p is None:
        return ""
    state = (
        f"accepted by {p.accepted_by} {p.accepted_how.replace('-', ' ')}"
        if p.accepted_at
        else "offered, not yet accepted"
    )
    return f"{p.total} {p.currency}, {state}"


def _ladder(job: JobFile) -> str:
    ladder = job.ladder
    if ladder is None or ladder.state not in ("planned", "open"):
        return ""
    return f"{ladder.standard}: ladders {'under way' if ladder.state == 'open' else 'planned'}"


def _blade(job: JobFile) -> str:
    b = job.blade
    if job.key is not None and not job.key.blade:
        return "This article has no blade to cut."
    if b is None:
        return _ladder(job)
    if b.inspected == "fits":
        return f"{b.standard}: cut and inspected"
    if b.cut_at:
        return f"{b.standard}: cut, not yet inspected"
    source = "found by ladders" if b.source == "ladder" else b.source
    return f"{b.standard}: bitting {source}, sealed"


def _pairing(job: JobFile) -> str:
    p = job.pairing
    if job.key is not None and job.key.kind == "mechanical":
        return "A mechanical key needs no pairing."
    if p is None:
        return ""
    if p.because:
        return f"Paired without a run sheet: {p.because}"
    name = p.title or p.sheet
    if not p.outcome:
        return f"{name}: under way"
    words = {
        "good": "ended well",
        "unchanged": "ended, vehicle unchanged",
        "stranded": "vehicle does not start",
    }
    return f"{name}: {words[p.outcome]}"


def _proof(job: JobFile) -> str:
    tests = list_tests(job)
    if not job.proof:
        return ""
    answers = {answer.test: answer.passed for answer in job.proof}
    passed = sum(1 for test in tests if answers.get(test.id))
    return f"{passed} of {len(tests)} tests passed"


def _handover(job: JobFile) -> str:
    h = job.handover
    if h is None:
        return ""
    return f"{h.keys_handed} key{'s' if h.keys_handed != 1 else ''} handed over, signed by {h.signed_by}"


_LINES: dict[str, Callable[[JobFile], str]] = {
    "request": _request,
    "vehicle": _vehicle,
    "key": _key,
    "promise": _promise,
    "blade": _blade,
    "pairing": _pairing,
    "proof": _proof,
    "handover": _handover,
}
