"""When a leg needs nobody any more."""

from __future__ import annotations

from bittern.work.facts import JobFile
from bittern.work.prooflist import list_tests

LEGS = ("request", "vehicle", "key", "promise", "blade", "pairing", "proof", "handover")


def needs_blade(job: JobFile) -> bool:
    """Tell whether the chosen article has a blade to cut."""
    return job.key is not None and bool(job.key.blade)


def needs_pairing(job: JobFile) -> bool:
    """Tell whether the vehicle must be made to accept the chosen article."""
    return job.key is not None and job.key.kind != "mechanical"


def is_settled(job: JobFile, leg: str) -> bool:
    """Tell whether ``leg`` needs nobody any more."""
    match leg:
        case "request":
            return job.authority is not None
        case "vehicle":
            v = job.vehicle
            return v is not None and bool(v.make and v.model) and (v.valid or bool(v.accepted_because))
        case "key":
            return job.key is not None
        case "promise":
            return job.promise is not None and job.promise.accepted_at is not None
        case "blade":
            if job.key is None:
                return False
            return not needs_blade(job) or (job.blade is not None and job.blade.inspected == "fits")
        case "pairing":
            if job.key is None:
                return False
            return not needs_pairing(job) or (job.pairing is not None and job.pairing.outcome == "good")
        case "proof":
            passed = {answer.test: answer.passed for answer in job.proof}
            tests = list_tests(job)
            return bool(tests) and all(passed.get(test.id, False) for test in tests)
        case _:
            return job.handover is not None
