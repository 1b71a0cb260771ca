"""One question to the vehicle and the answers of its units: a state machine fed with frames and the time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from bittern.engines.link.errors import AnswerError
from bittern.engines.link.frame import Frame, address_all, address_unit, find_sender, name_unit
from bittern.engines.link.gate import MOST_UNITS
from bittern.engines.link.services import (
    LONGEST_ANSWER,
    PENDING,
    Request,
    find_refusal,
    word_refusal,
)
from bittern.engines.link.transport import Receiver, write_flow_control, write_single

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Patience:
    """How long an answer is waited for, in seconds.

    Attributes
    ----------
    answer_s
        To the beginning of an answer: 50 ms for the unit (P2 of ISO 15765-4, from memory) and as much as
        slow serial adapters add.
    pending_s
        To an answer that a unit has said is coming (5 s, from memory).
    whole_s
        For everything: however often units ask for time, then it is over. Ours.
    most_frames
        Frames of units taken notice of; more than a full bus of 500 kbit/s carries in that time. Ours.
    """

    answer_s: float = 0.25
    pending_s: float = 5.0
    whole_s: float = 10.0
    most_frames: int = 50_000


USUAL = Patience()


@dataclass(frozen=True, slots=True)
class UnitFault:
    """What was wrong with one unit's answer; ``unit`` is its name, empty for the bus as a whole."""

    unit: str
    found: str

    def __str__(self) -> str:
        return f"{self.unit}: {self.found}" if self.unit else self.found


@dataclass(frozen=True, slots=True)
class Answers:
    """What came of one question.

    Attributes
    ----------
    request
        The question.
    bits
        Length of the identifiers.
    messages
        Whole answers by unit, in order of unit.
    faults
        What was wrong, unit by unit; refusals too.
    flooded
        Whether it was ended by too many frames.
    """

    request: Request
    bits: int
    messages: dict[int, bytes] = field(default_factory=dict)
    faults: tuple[UnitFault, ...] = ()
    flooded: bool = False

    @property
    def silent(self) -> bool:
        """Whether nobody answered anything at all."""
        return not self.messages and not self.faults

    def read(self, decode: Callable[[bytes], T]) -> tuple[dict[str, T], tuple[UnitFault, ...]]:
        """Return each unit's decoded answer by the unit's name, and all faults with what does not decode."""
        values: dict[str, T] = {}
        faults = list(self.faults)
        for unit, message in self.messages.items():
            name = name_unit(self.bits, unit)
            try:
                values[name] = decode(message)
            except AnswerError as error:
                faults.append(UnitFault(name, str(error)))
        return values, tuple(faults)


class Exchange:
    """One question, to all units or to one.

    Parameters
    ----------
    request
        What is asked.
    bits
        11 or 29: length of the identifiers.
    unit
        The unit asked; None: all.
    """

    def __init__(
        self, request: Request, *, bits: int = 11, unit: int | None = None, patience: Patience = USUAL
    ) -> None:
        self.request = request
        self._bits = bits
        self._unit = unit
        self._patience = patience
        self._receivers: dict[int, Receiver] = {}
        self._pending: dict[int, float] = {}
        self._messages: dict[int, bytes] = {}
        self._faults: dict[int, str] = {}
        self._flooded = False
        self._frames = 0
        self._begun_s = 0.0

    def begin(self, now_s: float) -> Frame:
        """Return the frame to send; the time runs from ``now_s``."""
        self._begun_s = now_s
        data = write_single(self.request.payload)
        if self._unit is None:
            return address_all(self._bits, data)
        return address_unit(self._bits, self._unit, data)

    def feed(self, frame: Frame, now_s: float) -> Frame | None:
        """Take a received frame; return the flow control to send where one is asked for."""
        self._frames += 1
        if self._frames > self._patience.most_frames:
            self._flooded = True
            return None
        if self.is_over(now_s):
            return None
        self._expire(now_s)
        unit = find_sender(frame)
        if unit is None or frame.bits != self._bits or self._unit not in (None, unit):
            return None
        if unit in self._messages or unit in self._faults:
            return None
        receiver = self._find_receiver(unit)
        if receiver is None:
            return None
        heard = receiver.feed(frame.data, now_s)
        if heard.fault:
            self._faults[unit] = heard.fault
        elif heard.message is not None:
            self._take(unit, heard.message, now_s)
        elif heard.wants_flow_control:
            if bytes(frame.data[2:4]) == self.request.answer_head:
                return address_unit(self._bits, unit, write_flow_control())
            self._faults[unit] = f"a long message that begins {frame.data[2:4].hex(' ').upper()}, no answer"
        return None

    def _find_receiver(self, unit: int) -> Receiver | None:
        """Return the unit's receiver; None where more units speak than are listened to."""
        if unit not in self._receivers and len(self._receivers) >= MOST_UNITS:
            return None
        return self._receivers.setdefault(unit, Receiver(most_bytes=LONGEST_ANSWER))

    def _take(self, unit: int, message: bytes, now_s: float) -> None:
        refusal = find_refusal(self.request, message)
        if refusal == PENDING:
            self._pending[unit] = now_s + self._patience.pending_s
        elif refusal is not None:
            self._faults[unit] = word_refusal(refusal)
        elif message[:2] == self.request.answer_head:
            self._messages[unit] = message
        # Anything else is somebody else's conversation with the unit; ours may still come.

    def _expire(self, now_s: float) -> None:
        for unit, receiver in self._receivers.items():
            late = receiver.expire(now_s)
            if late.fault and unit not in self._messages:
                self._faults.setdefault(unit, late.fault)

    def _is_settled(self, unit: int) -> bool:
        return unit in self._messages or unit in self._faults

    def until_s(self) -> float:
        """Return the time at which the exchange is over if nothing more comes."""
        ends = [self._begun_s + self._patience.answer_s]
        if self._unit is not None and self._is_settled(self._unit):
            ends = [self._begun_s]
        ends += [end for unit, end in self._pending.items() if not self._is_settled(unit)]
        ends += [
            r.until_s
            for unit, r in self._receivers.items()
            if r.until_s is not None and not self._is_settled(unit)
        ]
        return min(max(ends), self._begun_s + self._patience.whole_s)

    def is_over(self, now_s: float) -> bool:
        """Whether there is nothing more to wait for."""
        # A clock that goes backwards ends it as well.
        return self._flooded or not self._begun_s <= now_s < self.until_s()

    def conclude(self) -> Answers:
        """Return what has come of it; answers that are not whole are faults."""
        faults = dict(self._faults)
        for unit, receiver in self._receivers.items():
            if receiver.busy and not self._is_settled(unit):
                faults[unit] = f"an answer that stopped after {receiver.progress}"
        for unit in self._pending:
            if not self._is_settled(unit):
                faults.setdefault(unit, "it asked for time and did not answer")
        listed = [UnitFault(name_unit(self._bits, unit), found) for unit, found in sorted(faults.items())]
        if self._flooded:
            listed.append(UnitFault("", f"more than {self._patience.most_frames} frames in one exchange"))
        messages = dict(sorted(self._messages.items()))
        return Answers(self.request, self._bits, messages, tuple(listed), self._flooded)
