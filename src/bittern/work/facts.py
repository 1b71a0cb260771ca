"""What is on record about a job: one model a leg, all frozen, all plain JSON when stored."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Literal

from pydantic import BaseModel, ConfigDict

Want = Literal["spare", "replacement", "all-lost"]
JobState = Literal["open", "closed", "withdrawn"]
Plain = str | int | float | bool | None | list[str]


class Facts(BaseModel):
    """Base: frozen; unknown keys of a later version are ignored when read."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class Request(Facts):
    """Who wants what."""

    want: Want
    customer: str
    phone: str = ""
    plate: str = ""
    note: str = ""


class Authority(Facts):
    """Why this person may have a key to this vehicle: kinds of documents seen, never copies of them."""

    documents: tuple[str, ...]
    holder: str
    seen_by: str
    at: datetime


class Vehicle(Facts):
    """Which vehicle it is; ``accepted_because`` is filled when the number is missing or not valid."""

    vin: str = ""
    valid: bool = False
    make: str = ""
    model: str = ""
    year: int | None = None
    start: str = ""
    source: str = ""
    accepted_because: str = ""


class Seen(Facts):
    """One observation, with who recorded it."""

    kind: str
    value: Plain = None
    how: str = "told"
    sd: float | None = None
    by: str = ""
    at: datetime | None = None


class AskedCustomer(Facts):
    """A question that the customer was sent and has not answered yet."""

    kind: str
    by: str
    at: datetime


class KeyChoice(Facts):
    """The article chosen, as the pack described it on that day."""

    article: str
    title: str
    kind: str
    buttons: tuple[str, ...] = ()
    blade: str = ""
    chip: str = ""
    battery: str = ""
    price: Decimal = Decimal(0)
    cost: Decimal = Decimal(0)
    runsheet: str = ""
    probability: float
    settled: bool
    accepted_because: str = ""
    by: str = ""
    at: datetime | None = None


class Refused(Facts):
    """An article that was taken for this vehicle and turned out wrong."""

    article: str
    why: str
    note: str = ""
    by: str = ""
    at: datetime | None = None


class PriceLine(Facts):
    """One line of the price, net of tax."""

    text: str
    amount: Decimal


class Promise(Facts):
    """Price, time and what to bring; ``accepted_at`` is filled by the customer's word.

    ``keys`` is how many keys the customer says there are, ``keys_say`` what becomes of them by the run sheet.
    """

    lines: tuple[PriceLine, ...]
    currency: str
    net: Decimal
    tax: Decimal
    total: Decimal
    minutes_typical: float | None = None
    minutes_slow: float | None = None
    bring: tuple[str, ...] = ()
    keys: int | None = None
    keys_say: str = ""
    offered_by: str = ""
    offered_at: datetime | None = None
    accepted_by: str = ""
    accepted_how: str = ""
    accepted_at: datetime | None = None


class InspectionNote(Facts):
    """What an inspection by picture said of the cut key; no height, which would tell the bitting."""

    how: str
    verdict: Literal["pass", "fail", "undecided"]
    cuts: int
    # How many of them were measured by caliper as well, and weighed in.
    by_caliper: int = 0
    p_conform: float
    worst_mm: float
    limit_mm: float
    risk: float
    by: str
    at: datetime


class Blade(Facts):
    """What was done about the blade; the bitting itself is sealed elsewhere."""

    standard: str
    source: str
    entered_by: str
    entered_at: datetime
    doubts: int = 0
    accepted_because: str = ""
    cutter: str = ""
    cut_by: str = ""
    cut_at: datetime | None = None
    blanks_wasted: int = 0
    inspected: Literal["", "fits"] = ""
    # What a picture of the finished key said; a person decides what follows.
    inspection: InspectionNote | None = None


# What a blade is before metal is cut; the bitting stands.
UNCUT: dict[str, object] = {
    "inspected": "",
    "inspection": None,
    "cutter": "",
    "cut_by": "",
    "cut_at": None,
}


class LadderEvent(Facts):
    """What came of one cutting, or a step back: ``no``, ``spoilt``, ``back``, ``turned``."""

    kind: Literal["no", "spoilt", "back", "turned"]
    by: str
    at: datetime


class Ladder(Facts):
    """A plan of ladders and how far it has come; its bittings are sealed elsewhere.

    ``rungs`` counts the cuttings of each ladder. ``state`` is ``planned``, ``open`` once the cutter was
    chosen, ``found`` once one has turned, or ``dropped``. ``wasted_before`` counts blanks of earlier plans.
    """

    standard: str
    planned_by: str
    planned_at: datetime
    remaining: int
    rungs: tuple[int, ...]
    expected_cuttings: float
    covered: float = 1.0
    table: bool = False
    reading: bool = False
    help_cut: str = ""
    help_blanks: float | None = None
    wasted_before: int = 0
    cutter: str = ""
    events: tuple[LadderEvent, ...] = ()
    state: Literal["planned", "open", "found", "dropped"] = "planned"


class OnBoard(Facts):
    """The number on board as it was read: ``how`` is ``adapter`` or ``typed``; several where units disagree.

    ``accepted_because`` is filled when an owner took it although it is not the job's, ``accepted_for`` with
    the job's number at that time.
    """

    read: tuple[str, ...]
    how: Literal["adapter", "typed"]
    by: str
    at: datetime
    accepted_because: str = ""
    accepted_for: str = ""
    accepted_by: str = ""
    accepted_at: datetime | None = None


class CensusKey(Facts):
    """One key of the vehicle: is it here, did it work before, does it work after."""

    name: str
    present: bool
    worked_before: bool | None = None
    new: bool = False
    works_after: bool | None = None


class Pairing(Facts):
    """Where the pairing stands; the events in the job's log decide it.

    ``because`` is filled, and ``sheet`` empty, when it was paired without a run sheet of the pack.
    """

    sheet: str
    sheet_text: str
    title: str = ""
    begun_by: str
    begun_at: datetime
    census: tuple[CensusKey, ...] = ()
    outcome: Literal["", "good", "unchanged", "stranded"] = ""
    ended_at: datetime | None = None
    census_after: tuple[CensusKey, ...] = ()
    attempt: int = 1
    because: str = ""


class ProofAnswer(Facts):
    """One test of the finished key."""

    test: str
    passed: bool
    note: str = ""
    by: str
    at: datetime


class Handover(Facts):
    """The end: who signed, what was handed over."""

    payment_reference: str = ""
    keys_handed: int
    signed_by: str
    strokes: tuple[tuple[tuple[int, int], ...], ...] = ()
    handed_by: str
    at: datetime


class JobFile(Facts):
    """Everything on record about one job except sealed values and the log."""

    number: int
    version: int = 0
    state: JobState = "open"
    opened_at: datetime
    opened_by: str
    closed_at: datetime | None = None
    request: Request
    authority: Authority | None = None
    vehicle: Vehicle | None = None
    observations: tuple[Seen, ...] = ()
    asked: tuple[AskedCustomer, ...] = ()
    key: KeyChoice | None = None
    refused: tuple[Refused, ...] = ()
    promise: Promise | None = None
    blade: Blade | None = None
    ladder: Ladder | None = None
    on_board: OnBoard | None = None
    pairing: Pairing | None = None
    proof: tuple[ProofAnswer, ...] = ()
    handover: Handover | None = None
    withdrawn_because: str = ""
