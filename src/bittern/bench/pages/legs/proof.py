"""The Proof leg: the tests of the finished key, one by one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bittern.work.facts import JobFile, ProofAnswer
from bittern.work.legs import TITLES
from bittern.work.people import Person
from bittern.work.ports import Desk
from bittern.work.prooflist import ProofTest, list_tests, say_inspection
from bittern.work.settled import is_settled


@dataclass(frozen=True, slots=True)
class ProofRow:
    """One test and its answer, if there is one."""

    test: ProofTest
    answer: ProofAnswer | None

    @property
    def word(self) -> str:
        """What stands beside the test."""
        if self.answer is None:
            return "to do"
        return "passed" if self.answer.passed else "failed"


def build_context(desk: Desk, job: JobFile, person: Person) -> dict[str, Any]:
    """Return the tests with their answers, those that still need a person first."""
    answers = {answer.test: answer for answer in job.proof}
    rows = [ProofRow(test, answers.get(test.id)) for test in list_tests(job)]
    waiting = [TITLES[leg][0] for leg in ("key", "blade", "pairing") if not is_settled(job, leg)]
    return {
        "inspected": say_inspection(job),
        "rows": sorted(rows, key=lambda row: row.word == "passed"),
        "left": sum(row.word != "passed" for row in rows),
        "waiting": waiting,
        "failed": any(row.word == "failed" for row in rows),
        "may_answer": job.state == "open" and not waiting and person.may("bench"),
        "may_work": person.may("bench"),
    }
