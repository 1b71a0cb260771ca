"""A simulated control unit: what the other end of the link says, for rehearsals and tests."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from bittern.engines.link.frame import Frame, answer_from, find_addressed
from bittern.engines.link.services import (
    NUMBER,
    VOLTAGE,
    WHAT_NOW,
    WHAT_VEHICLE,
    encode_number,
    encode_supported,
    encode_voltage,
)
from bittern.engines.link.transport import FlowControl, Sender, Single, parse_part

Answer = bytes | Callable[[], bytes]


class ControlUnit:
    """A unit that answers requests with messages, and says nothing to what it does not know.

    Parameters
    ----------
    answers
        The whole answer by the request's bytes; a function is called when it is asked, so that what it says
        can change: a supply that falls.
    bits
        11 or 29: length of the identifiers.
    unit
        Its place: 0 to 7 with 11 bits, 0 to 255 with 29.
    """

    def __init__(self, answers: Mapping[bytes, Answer], *, bits: int = 11, unit: int = 0) -> None:
        self.answers = dict(answers)
        self._bits = bits
        self._unit = unit
        self._sender: Sender | None = None

    def hear(self, frame: Frame, now_s: float) -> Iterator[Frame]:
        """Take a frame from the bus and yield what the unit sends at once."""
        units = find_addressed(frame)
        if units is None or frame.bits != self._bits or self._unit not in units:
            return
        part = parse_part(frame.data)
        if isinstance(part, FlowControl) and self._sender:
            self._sender.feed(frame.data, now_s)
        elif isinstance(part, Single):
            answer = self.answers.get(part.payload)
            message = answer() if callable(answer) else answer
            self._sender = Sender(message) if message else None
        yield from self.go_on(now_s)

    def go_on(self, now_s: float) -> Iterator[Frame]:
        """Yield the frames that have become due: a long answer's parts at the pace asked for."""
        while self._sender and (data := self._sender.poll(now_s)):
            yield answer_from(self._bits, self._unit, data)


def simulate_unit(number: str, volts: Callable[[], float], *, bits: int = 11, unit: int = 0) -> ControlUnit:
    """Return a healthy unit with this number on board and this supply voltage at each moment.

    Examples
    --------
    >>> from bittern.engines.link.frame import Frame
    >>> unit = simulate_unit("1M8GDM9AXKP042788", lambda: 12.6)
    >>> [str(frame) for frame in unit.hear(Frame(0x7DF, bytes.fromhex("0201420000000000")), 0.0)]
    ['7E8 04 41 42 31 38 00 00 00']
    """
    return ControlUnit(
        {
            WHAT_NOW.payload: encode_supported(WHAT_NOW, frozenset({0x20})),
            VOLTAGE.payload: lambda: encode_voltage(volts()),
            WHAT_VEHICLE.payload: encode_supported(WHAT_VEHICLE, frozenset({NUMBER.item})),
            NUMBER.payload: encode_number(number),
        },
        bits=bits,
        unit=unit,
    )
