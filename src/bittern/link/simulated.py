"""The other end of a virtual bus: a simulated control unit that answers, for rehearsals and tests.

Nothing of it can reach a vehicle: the only bus that it opens is python-can's virtual one, which lives inside
this process, under a name that nobody else has.
"""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from bittern.engines.link.frame import Frame
from bittern.link.sealed import SEND_S, SealedBus, open_bus

if TYPE_CHECKING:
    from can.interfaces.virtual import VirtualBus

    from bittern.engines.link.unit import ControlUnit

MOST_WAITING = 64
"""Frames that may wait at the unit's end: the gate lets one request out at a time."""
LOOK_S = 0.02
END_S = 2.0


@contextmanager
def serve_unit(unit: ControlUnit) -> Iterator[SealedBus]:
    """Give a sealed bus with ``unit`` at its other end; with the block the unit and its thread end too."""
    from can.interfaces.virtual import VirtualBus

    channel = f"simulated-{uuid.uuid4()}"
    far = VirtualBus(channel=channel, rx_queue_size=MOST_WAITING)
    stop = threading.Event()
    thread = threading.Thread(target=_answer, args=(far, unit, stop), name=channel, daemon=True)
    thread.start()
    try:
        with open_bus(f"virtual:{channel}") as bus:
            yield bus
    finally:
        stop.set()
        thread.join(END_S)
        far.shutdown()


def _answer(far: VirtualBus, unit: ControlUnit, stop: threading.Event) -> None:
    import can

    while not stop.is_set():
        message = far.recv(LOOK_S)
        if message is None:
            frames = unit.go_on(time.monotonic())
        else:
            heard = Frame(message.arbitration_id, bytes(message.data), message.is_extended_id)
            frames = unit.hear(heard, time.monotonic())
        for frame in frames:
            said = can.Message(
                arbitration_id=frame.frame_id, data=frame.data, is_extended_id=frame.extended, check=True
            )
            far.send(said, timeout=SEND_S)
