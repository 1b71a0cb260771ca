"""A bus with a gate before it: the only module that reaches a vehicle, with the only call that sends."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol

from bittern.core.errors import shorten
from bittern.engines.link.frame import FRAME_BYTES, Frame, find_sender
from bittern.engines.link.gate import Gate
from bittern.link.errors import AdapterError, ChannelError

if TYPE_CHECKING:
    import can

KINDS = ("socketcan", "slcan", "virtual")
SPEEDS = (250_000, 500_000)
"""Bits per second that ISO 15765-4 names."""
USUAL_SPEED = 500_000
MOST_WAITING = 4096
"""Frames that may wait on a virtual bus."""
SEND_S = 0.5
"""How long a frame may wait for its place on the bus."""
WITHOUT = "without an adapter, read number and voltage at the vehicle and type them in"


class Bus(Protocol):
    """What is needed of a bus of python-can."""

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        """Send a frame."""
        ...

    def recv(self, timeout: float | None = None) -> can.Message | None:
        """Return the next frame, or None once ``timeout`` seconds have passed."""
        ...

    def shutdown(self) -> None:
        """Let go of the adapter."""
        ...


class SealedBus:
    """A bus that lets out allowed requests and the flow control of their answers, and nothing else.

    Parameters
    ----------
    bus
        An open bus; from now on nobody else should use it.
    clock
        Seconds that never go back.
    """

    __slots__ = ("__bus", "__clock", "__gate")

    def __init__(self, bus: Bus, clock: Callable[[], float] = time.monotonic) -> None:
        self.__bus = bus
        self.__clock = clock
        self.__gate = Gate()

    def now_s(self) -> float:
        """Return the time of the bus's clock."""
        return self.__clock()

    @property
    def next_request_s(self) -> float:
        """The earliest time of the next request, by the same clock."""
        return self.__gate.next_request_s

    def send(self, frame: Frame) -> None:
        """Send ``frame`` if the gate permits it.

        Raises
        ------
        RefusedFrameError
            The gate does not permit it; nothing has left.
        AdapterError
            The adapter does not take it.
        """
        import can

        # A copy of plain values: what is judged is what leaves.
        frame = Frame(int(frame.frame_id), bytes(frame.data), bool(frame.extended))
        self.__gate.permit(frame, self.__clock())
        message = can.Message(
            arbitration_id=frame.frame_id, is_extended_id=frame.extended, data=frame.data, check=True
        )
        try:
            self.__bus.send(message, timeout=SEND_S)
        except (can.CanError, OSError) as error:
            raise _word_failure(error) from error

    def receive(self, timeout_s: float) -> Frame | None:
        """Return the next frame of a unit; None once the time has passed or something else came.

        Raises
        ------
        AdapterError
            The adapter is gone.
        """
        import can

        try:
            message = self.__bus.recv(timeout=max(0.0, timeout_s))
        except (ValueError, IndexError):
            # A serial line that garbles: that line is lost.
            return None
        except (can.CanError, OSError) as error:
            if not isinstance(error.__cause__, UnicodeDecodeError):
                raise _word_failure(error) from error
            # python-can keeps a serial line that is no text, and would fall over it again and again.
            self.clear()
            return None
        if message is None or message.is_error_frame or message.is_remote_frame or message.is_fd:
            return None
        if len(message.data) > FRAME_BYTES:
            return None
        frame = Frame(message.arbitration_id, bytes(message.data), message.is_extended_id)
        if find_sender(frame) is None:
            return None
        self.__gate.note(frame, self.__clock())
        return frame

    def clear(self) -> None:
        """Throw away what a serial adapter has half received, so that nothing piles up."""
        import can

        flush = getattr(self.__bus, "flush", None)
        if flush is None:
            return
        try:
            flush()
        except (can.CanError, OSError) as error:
            raise _word_failure(error) from error

    def close(self) -> None:
        """Let go of the adapter."""
        import can

        # An adapter that was pulled out cannot be told goodbye; that was said where it mattered.
        with contextlib.suppress(can.CanError, OSError):
            self.__bus.shutdown()

    def __enter__(self) -> SealedBus:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def open_bus(channel: str, *, speed: int = USUAL_SPEED, settle_s: float = 2.0) -> SealedBus:
    """Return the sealed bus behind ``socketcan:can0``, ``slcan:/dev/ttyACM0`` or ``virtual:NAME``.

    Parameters
    ----------
    channel
        Kind and name. A socket's speed is set by the system, not here.
    speed
        Bits per second of a serial line adapter: 500,000 or 250,000.
    settle_s
        How long a serial line adapter needs after its port was opened; many restart then.

    Raises
    ------
    ChannelError
        The channel or the speed is none of these.
    AdapterError
        There is no such adapter, or no right to use it.
    """
    import can

    kind, _, name = channel.partition(":")
    if kind not in KINDS or not name:
        raise ChannelError(shorten(channel), "socketcan:NAME, slcan:PORT or virtual:NAME", where="channel")
    if speed not in SPEEDS:
        raise ChannelError(f"{speed} bit/s", "250000 or 500000", where="speed")
    more: dict[str, object] = {}
    if kind == "slcan":
        more = {"bitrate": speed, "sleep_after_open": settle_s}
    elif kind == "virtual":
        # A flood fills this and no more; sockets and serial lines have their own bound.
        more = {"rx_queue_size": MOST_WAITING}
    try:
        bus = can.Bus(interface=kind, channel=name, can_filters=_list_filters(), ignore_config=True, **more)  # type: ignore[arg-type]
    except (can.CanError, OSError, ValueError) as error:
        raise AdapterError(
            f"an adapter that cannot be opened ({' '.join(str(error).split())})",
            f"{channel} to be there and free",
            where="adapter",
            hint=f"plug it in, see who may use the port; {WITHOUT}",
        ) from error
    return SealedBus(bus)


def _list_filters() -> list[can.typechecking.CanFilter]:
    """Return what the kernel may drop before we see it: everything but units' answers."""
    return [
        {"can_id": 0x7E8, "can_mask": 0x7F8, "extended": False},
        {"can_id": 0x18DAF100, "can_mask": 0x1FFFFF00, "extended": True},
    ]


def _word_failure(error: Exception) -> AdapterError:
    return AdapterError(
        f"an adapter that stopped ({' '.join(str(error).split())})",
        "one that sends and receives",
        where="adapter",
        hint=f"look at plug and ignition, then read again; {WITHOUT}",
    )
