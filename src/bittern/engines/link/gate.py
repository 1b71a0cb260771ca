"""The gate before the bus: which frames may leave, and nothing else may.

An allow-list in three parts. A request is one of four whole frames, byte for byte, to all units or to one. A
flow control is one fixed frame, once a request and unit, and only after that unit has begun an answer to that
very request that is too long for one frame. Requests keep a pause. Everything else is refused, whoever asks.
"""

from __future__ import annotations

import math

from bittern.engines.link.errors import RefusedFrameError
from bittern.engines.link.frame import Frame, address_unit, find_addressed, find_sender
from bittern.engines.link.services import LONGEST_ANSWER, REQUESTS, Request
from bittern.engines.link.transport import First, parse_part, write_flow_control, write_single

PAUSE_S = 0.05
"""Between two requests: the bus belongs to the vehicle. Ours."""
ANSWER_S = 10.0
"""How long after a request an answer may still begin. Ours."""
MOST_UNITS = 16
"""Units that may answer one request with several frames. Ours."""

_REQUEST_OF = {write_single(request.payload): request for request in REQUESTS}
_FLOW_CONTROL = write_flow_control()


class Gate:
    """Decides on every frame that is to leave, and remembers what decides about the next one."""

    def __init__(self) -> None:
        self._asked: Request | None = None
        self._asked_at_s = -math.inf
        self._asked_units: range = range(0)
        self._asked_bits = 0
        # Units whose long answer has begun and waits for flow control; units that have had theirs.
        self._due: set[int] = set()
        self._had: set[int] = set()

    @property
    def next_request_s(self) -> float:
        """The earliest time of the next request."""
        return self._asked_at_s + PAUSE_S

    def permit(self, frame: Frame, now_s: float) -> None:
        """Let ``frame`` leave, or raise.

        Raises
        ------
        RefusedFrameError
            It is not on the list, or not now.
        """
        request, units = _REQUEST_OF.get(frame.data), find_addressed(frame)
        if request is not None and units is not None:
            # Written so that a time that is no number refuses.
            if not now_s >= self.next_request_s:
                raise RefusedFrameError(
                    "a request right after another",
                    f"{PAUSE_S * 1000:g} ms between requests",
                    where=str(frame),
                )
            self._asked, self._asked_at_s = request, now_s
            self._asked_units, self._asked_bits = units, frame.bits
            self._due.clear()
            self._had.clear()
            return
        for unit in self._due:
            if frame == address_unit(self._asked_bits, unit, _FLOW_CONTROL):
                self._due.remove(unit)
                self._had.add(unit)
                return
        raise RefusedFrameError(
            f"the frame {frame}",
            "one of the four requests, or the flow control that their answer waits for",
            hint="the link only reads",
        )

    def note(self, frame: Frame, now_s: float) -> None:
        """Take notice of a received frame: a long answer that begins allows one flow control."""
        unit = find_sender(frame)
        if unit is None or self._asked is None or frame.bits != self._asked_bits:
            return
        if unit not in self._asked_units or unit in self._had or len(self._due | self._had) >= MOST_UNITS:
            return
        part = parse_part(frame.data)
        if (
            isinstance(part, First)
            and part.length <= LONGEST_ANSWER
            and part.head[:2] == self._asked.answer_head
            and 0 <= now_s - self._asked_at_s <= ANSWER_S
        ):
            self._due.add(unit)
