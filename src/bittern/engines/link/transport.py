"""Messages over frames of 8 bytes (ISO 15765-2, classic CAN): taking apart, putting together.

Both ways are state machines that are fed with frames and the time; they know no bus and no clock. What was
received never raises: it is a fault in words, and the machine is ready for the next message. Memory is
bounded by ``most_bytes``.
"""

from __future__ import annotations

from dataclasses import dataclass

from bittern.engines.link.frame import FRAME_BYTES

SINGLE_BYTES = 7
FIRST_BYTES = 6
LONGEST_MESSAGE = 4095
"""Twelve bits of length; the longer form is for frames of more than 8 bytes."""
PADDING = b"\x00"
GO_ON, WAIT, OVERFLOW = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Timing:
    """How long one side waits for the other, in seconds.

    Attributes
    ----------
    next_frame_s
        N_Cr: from one consecutive frame to the next (1 s in ISO 15765-2, from memory).
    flow_control_s
        N_Bs: from a first frame or a block's end to the flow control (1 s, from memory).
    most_waits
        How often the receiver may ask for patience before the sender gives up; ours.
    """

    next_frame_s: float = 1.0
    flow_control_s: float = 1.0
    most_waits: int = 10


USUAL = Timing()


@dataclass(frozen=True, slots=True)
class Single:
    """A whole message."""

    payload: bytes


@dataclass(frozen=True, slots=True)
class First:
    """The beginning of a longer message, and its length in bytes."""

    length: int
    head: bytes


@dataclass(frozen=True, slots=True)
class Consecutive:
    """A further part; its number counts 1 to 15, then 0."""

    sequence: int
    part: bytes


@dataclass(frozen=True, slots=True)
class FlowControl:
    """What the receiver asks of the sender: go on, wait or stop; frames a block (0: all); pause in s."""

    status: int
    block: int
    pause_s: float


def parse_part(data: bytes) -> Single | First | Consecutive | FlowControl | str:
    """Return the part of a message that a frame carries, or what is wrong with it in words.

    Notes
    -----
    High nibble of byte 0: 0 single, 1 first, 2 consecutive, 3 flow control. The pause is 0 to 127 ms for 00
    to 7F and 100 to 900 us for F1 to F9; the reserved values count as 127 ms.

    Examples
    --------
    >>> parse_part(bytes.fromhex("10 14 49 02 01 31 44 34"))
    First(length=20, head=b'I\\x02\\x011D4')
    >>> parse_part(bytes.fromhex("10 14 62 F1 90 57"))
    'a first frame of 6 bytes, not 8'
    """
    if not data:
        return "an empty frame"
    if len(data) > FRAME_BYTES:
        return f"a frame of {len(data)} bytes, more than 8"
    kind, low = divmod(data[0], 16)
    if kind == 0:
        if low == 0 or low > SINGLE_BYTES:
            return f"a single frame that says {low} bytes, not 1 to 7"
        if low > len(data) - 1:
            return f"a single frame that says {low} bytes and holds {len(data) - 1}"
        return Single(data[1 : 1 + low])
    if kind == 1:
        if len(data) < FRAME_BYTES:
            return f"a first frame of {len(data)} bytes, not 8"
        length = (low << 8) + data[1]
        return First(length, data[2:]) if length > SINGLE_BYTES else f"a first frame that says {length} bytes"
    if kind == 2:
        return Consecutive(low, data[1:]) if len(data) > 1 else "a consecutive frame without content"
    if kind == 3:
        if len(data) < 3 or low > OVERFLOW:
            return "a flow control that says nothing known"
        return FlowControl(low, data[1], _parse_pause(data[2]))
    return f"a frame of the unknown kind {kind:X}"


def _parse_pause(raw: int) -> float:
    if raw <= 0x7F:
        return raw / 1000
    return (raw - 0xF0) / 10_000 if 0xF1 <= raw <= 0xF9 else 0.127


def pad(data: bytes) -> bytes:
    """Return ``data`` filled up to 8 bytes."""
    return data.ljust(FRAME_BYTES, PADDING)


def write_single(payload: bytes) -> bytes:
    """Return a message of 1 to 7 bytes as the content of one frame.

    >>> write_single(bytes.fromhex("0142")).hex(" ")
    '02 01 42 00 00 00 00 00'
    """
    if not 1 <= len(payload) <= SINGLE_BYTES:
        raise ValueError(f"{len(payload)} bytes in a single frame")
    return pad(bytes([len(payload)]) + payload)


def write_flow_control(status: int = GO_ON, block: int = 0, raw_pause: int = 0) -> bytes:
    """Return a flow control; as it is: go on, all at once, without pause."""
    return pad(bytes([0x30 + status, block, raw_pause]))


@dataclass(frozen=True, slots=True)
class Heard:
    """What one frame, or the passing of time, has led to: a message, a wish for flow control, a fault."""

    message: bytes | None = None
    wants_flow_control: bool = False
    fault: str = ""


_NOTHING = Heard()


class Receiver:
    """Puts the messages of one sender together.

    Parameters
    ----------
    most_bytes
        Longer messages are refused when they begin; nothing of them is kept.
    """

    def __init__(self, *, most_bytes: int = LONGEST_MESSAGE, timing: Timing = USUAL) -> None:
        self._most = most_bytes
        self._timing = timing
        self._parts = bytearray()
        self._length = 0
        self._sequence = 0
        self._until_s = 0.0

    @property
    def busy(self) -> bool:
        """Whether a message has begun and is not whole."""
        return self._length > 0

    @property
    def until_s(self) -> float | None:
        """When the next frame must have come; None where none is awaited."""
        return self._until_s if self.busy else None

    @property
    def progress(self) -> str:
        """How much of the message has come, in words."""
        return f"{len(self._parts)} of {self._length} bytes"

    def feed(self, data: bytes, now_s: float) -> Heard:
        """Take the content of one frame of the sender, received at ``now_s``."""
        late = self.expire(now_s)
        if late.fault:
            return late
        part = parse_part(data)
        if isinstance(part, str):
            self._drop()
            return Heard(fault=part)
        if isinstance(part, FlowControl):
            # Meant for a sender; this is the other side.
            return _NOTHING
        if isinstance(part, Consecutive):
            return self._continue(part, now_s) if self.busy else _NOTHING
        if self.busy:
            self._drop()
            return Heard(fault="a new message before the former was whole")
        if isinstance(part, Single):
            if len(part.payload) > self._most:
                return Heard(fault=f"a message of {len(part.payload)} bytes, more than {self._most}")
            return Heard(message=part.payload)
        return self._begin(part, now_s)

    def expire(self, now_s: float) -> Heard:
        """Give up a message whose next frame is overdue."""
        if not self.busy or now_s <= self._until_s:
            return _NOTHING
        fault = f"{self.progress}, then nothing for {self._timing.next_frame_s:g} s"
        self._drop()
        return Heard(fault=fault)

    def _begin(self, part: First, now_s: float) -> Heard:
        if part.length > self._most:
            return Heard(fault=f"a message of {part.length} bytes, more than {self._most}")
        self._parts[:] = part.head
        self._length, self._sequence = part.length, 1
        self._until_s = now_s + self._timing.next_frame_s
        return Heard(wants_flow_control=True)

    def _continue(self, part: Consecutive, now_s: float) -> Heard:
        if part.sequence != self._sequence:
            expected = self._sequence
            self._drop()
            return Heard(fault=f"part {part.sequence} where part {expected} should have come")
        missing = self._length - len(self._parts)
        if len(part.part) < min(missing, FRAME_BYTES - 1):
            self._drop()
            return Heard(fault=f"a part of {len(part.part)} bytes where {min(missing, 7)} should have come")
        self._parts += part.part[:missing]
        if len(self._parts) == self._length:
            message = bytes(self._parts)
            self._drop()
            return Heard(message=message)
        self._sequence = (self._sequence + 1) % 16
        self._until_s = now_s + self._timing.next_frame_s
        return _NOTHING

    def _drop(self) -> None:
        self._parts.clear()
        self._length = 0


class Sender:
    """Takes one message apart, at the pace that the receiver asks for: a simulated vehicle's side."""

    def __init__(self, message: bytes, *, timing: Timing = USUAL) -> None:
        if not 1 <= len(message) <= LONGEST_MESSAGE:
            raise ValueError(f"a message of {len(message)} bytes")
        self._message = message
        self._timing = timing
        self._sent = 0
        self._sequence = 1
        # Frames that may still be sent in this block; None: as many as there are, 0: flow control is awaited.
        self._allowed: int | None = None
        self._pause_s = 0.0
        self._waits = 0
        self._until_s: float | None = None
        self.next_at_s = float("-inf")
        self.fault = ""

    @property
    def over(self) -> bool:
        """Whether all is sent or the sending was given up."""
        return bool(self.fault) or self._sent >= len(self._message)

    def poll(self, now_s: float) -> bytes | None:
        """Return the content of the frame that is due at ``now_s``, or None."""
        if self.over:
            return None
        if self._sent == 0:
            return self._start(now_s)
        if self._allowed == 0:
            if self._until_s is not None and now_s > self._until_s:
                self.fault = f"no flow control within {self._timing.flow_control_s:g} s"
            return None
        if now_s < self.next_at_s:
            return None
        part = self._message[self._sent : self._sent + FRAME_BYTES - 1]
        data = bytes([0x20 + self._sequence]) + part
        self._sent += len(part)
        self._sequence = (self._sequence + 1) % 16
        self.next_at_s = now_s + self._pause_s
        if self._allowed is not None:
            self._allowed -= 1
            self._until_s = now_s + self._timing.flow_control_s
        return pad(data)

    def _start(self, now_s: float) -> bytes:
        length = len(self._message)
        if length <= SINGLE_BYTES:
            self._sent = length
            return write_single(self._message)
        self._sent, self._allowed = FIRST_BYTES, 0
        self._until_s = now_s + self._timing.flow_control_s
        return bytes([0x10 + (length >> 8), length & 0xFF]) + self._message[:FIRST_BYTES]

    def feed(self, data: bytes, now_s: float) -> None:
        """Take a frame of the receiver; only a flow control that is awaited means anything."""
        part = parse_part(data)
        if self.over or self._sent == 0 or self._allowed != 0 or not isinstance(part, FlowControl):
            return
        if part.status == OVERFLOW:
            self.fault = "the receiver cannot hold the message"
        elif part.status == WAIT:
            self._waits += 1
            self._until_s = now_s + self._timing.flow_control_s
            if self._waits > self._timing.most_waits:
                self.fault = f"the receiver asked for patience more than {self._timing.most_waits} times"
        else:
            self._waits = 0
            self._allowed = part.block or None
            self._pause_s = part.pause_s
            self.next_at_s = now_s
