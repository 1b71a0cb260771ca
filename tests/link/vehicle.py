"""A bus under the tests' control: its own clock, a record of all that leaves, vehicles at the end."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import can

from bittern.engines.link.frame import Frame, address_all, address_unit, answer_from
from bittern.engines.link.transport import write_single
from bittern.engines.link.unit import ControlUnit
from bittern.link.sealed import SealedBus

NUMBER = "1M8GDM9AXKP042788"
TICK_S = 0.001


class Clock:
    """Time that passes only when somebody waits."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def to_frame(message: can.Message) -> Frame:
    return Frame(message.arbitration_id, bytes(message.data), message.is_extended_id)


def to_message(frame: Frame) -> can.Message:
    return can.Message(arbitration_id=frame.frame_id, data=frame.data, is_extended_id=frame.extended)


class OtherEnd:
    """What stands on the bus: records every message sent, answers by ``react``, and lets the time pass."""

    def __init__(self, react: Callable[[Frame, float], Iterable[Frame]] = lambda frame, now: ()) -> None:
        self.clock = Clock()
        self.sent: list[can.Message] = []
        self.coming: deque[can.Message] = deque()
        self.react = react
        self.idle: Callable[[float], Iterable[Frame]] = lambda now: ()
        self.closed = False
        self.cost_s = 0.0

    @property
    def frames(self) -> list[Frame]:
        return [to_frame(message) for message in self.sent]

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        self.sent.append(msg)
        self.coming.extend(map(to_message, self.react(to_frame(msg), self.clock.now)))

    def recv(self, timeout: float | None = None) -> can.Message | None:
        assert timeout is not None, "waiting without an end"
        until = self.clock.now + timeout
        while True:
            self.coming.extend(map(to_message, self.idle(self.clock.now)))
            if self.coming:
                self.clock.now += self.cost_s
                return self.coming.popleft()
            if self.clock.now >= until:
                return None
            self.clock.now = min(until, self.clock.now + TICK_S)

    def shutdown(self) -> None:
        self.closed = True

    def seal(self) -> SealedBus:
        return SealedBus(self, self.clock)


class Unit(ControlUnit):
    """A control unit whose requests are written in hexadecimal."""

    def __init__(self, answers: dict[str, bytes], *, bits: int = 11, unit: int = 0) -> None:
        super().__init__(
            {bytes.fromhex(asked): answer for asked, answer in answers.items()}, bits=bits, unit=unit
        )


def on_bus(*units: Unit) -> OtherEnd:
    """Return a bus with these units on it."""
    end = OtherEnd(lambda frame, now: [f for unit in units for f in unit.hear(frame, now)])
    end.idle = lambda now: [f for unit in units for f in unit.go_on(now)]
    return end


def usual_answers(number: str = NUMBER, volts: str = "3138") -> dict[str, bytes]:
    """Return what a healthy unit answers: the published 12.600 V, and the number."""
    return {
        "0100": bytes.fromhex("4100 BE1FA813"),
        "0900": bytes.fromhex("4900 40000000"),
        "0902": bytes.fromhex("490201") + number.encode(),
        "0142": bytes.fromhex("4142" + volts),
    }


def list_allowed(bits: int, units: Iterable[int]) -> set[Frame]:
    """Return every frame that may ever leave towards ``units``, written out by hand."""
    fill = bytes(5)
    requests = [bytes.fromhex(text) + fill for text in ("020100", "020142", "020900", "020902")]
    flow = bytes.fromhex("300000") + fill
    allowed = {address_all(bits, data) for data in requests}
    for unit in units:
        allowed |= {address_unit(bits, unit, data) for data in (*requests, flow)}
    return allowed


def single(bits: int, unit: int, payload: bytes) -> Frame:
    """Return a unit's short answer."""
    return answer_from(bits, unit, write_single(payload))


@contextmanager
def serving(channel: str | can.BusABC, *units: Unit) -> Iterator[list[can.Message]]:
    """Serve units on a real bus of python-can from another thread; yields the record of what arrived."""
    far = can.Bus(interface="virtual", channel=channel) if isinstance(channel, str) else channel
    arrived: list[can.Message] = []
    stop = threading.Event()

    def work() -> None:
        while not stop.is_set():
            message = far.recv(0.02)
            if message is None:
                continue
            arrived.append(message)
            for unit in units:
                for frame in unit.hear(to_frame(message), time.monotonic()):
                    far.send(to_message(frame))

    thread = threading.Thread(target=work, daemon=True)
    thread.start()
    try:
        yield arrived
    finally:
        stop.set()
        thread.join()
        far.shutdown()
