"""The number on board against the job's: the same vehicle, or stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from bittern.engines.vehicle.decode import decode_vin
from bittern.engines.vehicle.errors import VehicleError
from bittern.engines.vehicle.number import LENGTH, normalise_vin
from bittern.work.errors import OtherVehicleError
from bittern.work.facts import JobFile
from bittern.work.ports import Desk

VERDICTS = ("same", "other", "disagree", "not-read", "none-on-job")
_STOPPING = ("other", "disagree")


@dataclass(frozen=True, slots=True)
class NumberComparison:
    """What the number on board says about the job.

    Attributes
    ----------
    verdict
        One of ``VERDICTS``: the same; another; units that disagree with each other; nothing was read; the
        job has no number.
    read
        The different numbers read, in order.
    expected
        The job's number; empty where it has none.
    places
        Positions, 1 to 17, at which the one number read differs from the job's.
    say
        One sentence or two for the person at the vehicle.
    """

    verdict: str
    read: tuple[str, ...]
    expected: str
    places: tuple[int, ...]
    say: str

    @property
    def stops(self) -> bool:
        """Whether nothing more may be done at this vehicle until somebody has cleared it up."""
        return self.verdict in _STOPPING

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        return {
            "verdict": self.verdict,
            "stops": self.stops,
            "read": list(self.read),
            "expected": self.expected or None,
            "places": list(self.places),
            "say": self.say,
        }


def find_standing(desk: Desk, job: JobFile) -> NumberComparison | None:
    """Return what the number on record says about the job as it is on record now; None before one is."""
    return compare_number(desk, job, job.on_board.read) if job.on_board else None


def is_accepted(job: JobFile) -> bool:
    """Tell whether an owner took the number on record although it is not the job's number of today."""
    read = job.on_board
    return bool(read and read.accepted_because and read.accepted_for == find_expected(job))


def is_stopped(job: JobFile) -> bool:
    """Tell whether nothing more may be done at the vehicle until it is cleared up which one it is."""
    if job.on_board is None or is_accepted(job):
        return False
    return find_verdict(normalise_numbers(job.on_board.read), find_expected(job)) in _STOPPING


def require_right_vehicle(desk: Desk, job: JobFile, at: datetime | None = None) -> None:
    """Raise OtherVehicleError where the number on record stops the job; none on record stops nothing.

    What happened before the number was read (``at``), and was kept on a device meanwhile, is not stopped any
    more: it happened.
    """
    if job.on_board is None or not is_stopped(job) or (at is not None and at < job.on_board.at):
        return
    require_same_vehicle(desk, job, job.on_board.read)


def normalise_numbers(read: Sequence[str]) -> tuple[str, ...]:
    """Return the different numbers of ``read``, in order, without what no number has."""
    return tuple(dict.fromkeys(normalise_vin(text)[0] for text in read if text.strip()))


def find_expected(job: JobFile) -> str:
    """Return the job's number; empty where it has none."""
    return normalise_vin(job.vehicle.vin)[0] if job.vehicle and job.vehicle.vin.strip() else ""


def find_verdict(numbers: Sequence[str], expected: str) -> str:
    """Return which of ``VERDICTS`` holds."""
    if not numbers:
        return "not-read"
    if len(numbers) > 1:
        return "disagree"
    if not expected:
        return "none-on-job"
    return "same" if numbers[0] == expected else "other"


def compare_number(desk: Desk, job: JobFile, read: Sequence[str]) -> NumberComparison:
    """Return what the numbers that the vehicle's units gave say about the job.

    Numbers are compared as they were read and as they are on record: nothing is corrected, and a check digit
    that does not agree is no reason to take one for another.

    Parameters
    ----------
    desk
        Its pack says what vehicle another number stands for.
    job
        The job.
    read
        The number that each unit gave, or the one that somebody typed.
    """
    numbers, expected = normalise_numbers(read), find_expected(job)
    verdict = find_verdict(numbers, expected)
    if verdict == "not-read":
        say = "The vehicle gave no number: read it at the windscreen or the door frame and compare it there."
        return NumberComparison(verdict, (), expected, (), say)
    if verdict == "disagree":
        listed = " and ".join(numbers)
        say = (
            f"Stop. Control units of this vehicle give different numbers: {listed}. One of them may come "
            "from another vehicle; find out which before anything is paired."
        )
        return NumberComparison(verdict, numbers, expected, (), say)
    number = numbers[0]
    if verdict == "none-on-job":
        say = f"The vehicle says it is {number}, and the job has no number: record it on the Vehicle leg."
        return NumberComparison(verdict, numbers, "", (), say)
    if verdict == "same":
        return NumberComparison(verdict, numbers, expected, (), f"The vehicle is the job's: {number}.")
    places = _find_differences(number, expected)
    where = _word_places(places)
    say = (
        f"Stop. The vehicle says it is {number}{_name_vehicle(desk, number)}; the job is for "
        f"{expected}{where}. Look whether this is the right vehicle before anything else is done to it."
    )
    return NumberComparison(verdict, numbers, expected, places, say)


def require_same_vehicle(desk: Desk, job: JobFile, read: Sequence[str]) -> NumberComparison:
    """Return the comparison if it does not stop the job.

    Raises
    ------
    OtherVehicleError
        The number on board is not the job's, or units give different ones.
    """
    found = compare_number(desk, job, read)
    if found.stops:
        raise OtherVehicleError(
            " and ".join(found.read),
            found.expected or "one number",
            where=f"job {job.number}",
            hint=found.say,
        )
    return found


def _find_differences(number: str, expected: str) -> tuple[int, ...]:
    if len(number) != len(expected):
        return ()
    return tuple(at for at, (a, b) in enumerate(zip(number, expected, strict=True), start=1) if a != b)


def _word_places(places: tuple[int, ...]) -> str:
    if not places or len(places) > 4:
        return ""
    *rest, last = map(str, places)
    if not rest:
        return f" (another character at position {last})"
    return f" (other characters at positions {', '.join(rest)} and {last})"


def _name_vehicle(desk: Desk, number: str) -> str:
    if len(number) != LENGTH:
        return ""
    try:
        found = decode_vin(number, desk.pack.numbers, spans=desk.pack.spans)
    except VehicleError:
        return ""
    words = [str(part) for part in (found.make, found.model, found.model_year) if part]
    return f" ({' '.join(words)})" if found.make else ""
