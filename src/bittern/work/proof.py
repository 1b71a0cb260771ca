"""The Proof leg: every test that the article calls for is answered."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import ProofAnswer
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.prooflist import list_tests
from bittern.work.settled import is_settled


def answer_test(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record the result of one test: fields test, result (passed or failed), note (required when failed)."""
    entry = Entry(data)
    test = entry.text("test", required=True, expected="the id of a test")
    result = entry.choice("result", ("passed", "failed"))
    note = entry.text("note", limit=500)
    if result == "failed" and not note:
        entry.fault("note", "nothing", "what happened instead")
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        for leg in ("blade", "pairing"):
            if not is_settled(change.job, leg):
                raise NotYetError(f"the {leg} leg open", "it settled before the key is tested", where="proof")
        known = [one.id for one in list_tests(change.job)]
        if test not in known:
            entry.fault("test", test, f"a test that this article calls for: {', '.join(known)}")
            entry.finish()
        answer = ProofAnswer(test=test, passed=result == "passed", note=note, by=person.login, at=change.now)
        change.put(proof=(*(a for a in change.job.proof if a.test != test), answer))
        change.log("proof.answered", test=test, passed=answer.passed, note=note)
