"""A frame on the bus, and who speaks to whom by its identifier.

Identifiers: ISO 15765-4. With 11 bits: 7DF to all, 7E0 to 7E7 to one unit, which answers 8 higher. With 29
bits: 18DB33F1 to all, 18DAxxF1 to unit xx, which answers as 18DAF1xx (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

FRAME_BYTES = 8
BITS = (11, 29)
UNITS = {11: 8, 29: 256}
"""How many units can be spoken to, by the identifier's length."""

_TO_ALL = {11: 0x7DF, 29: 0x18DB33F1}
_TO_ONE_11, _FROM_ONE_11 = 0x7E0, 0x7E8
_TO_ONE_29, _FROM_ONE_29 = 0x18DA00F1, 0x18DAF100


@dataclass(frozen=True, slots=True)
class Frame:
    """One data frame of classic CAN: identifier, whether it has 29 bits, and up to 8 bytes."""

    frame_id: int
    data: bytes
    extended: bool = False

    @property
    def bits(self) -> int:
        """Length of the identifier."""
        return 29 if self.extended else 11

    def __str__(self) -> str:
        digits = 8 if self.extended else 3
        return f"{self.frame_id:0{digits}X} {self.data.hex(' ').upper()}".rstrip()


def address_all(bits: int, data: bytes) -> Frame:
    """Return ``data`` as a frame to every unit.

    >>> str(address_all(11, bytes.fromhex("020142")))
    '7DF 02 01 42'
    """
    return Frame(_TO_ALL[bits], data, bits == 29)


def address_unit(bits: int, unit: int, data: bytes) -> Frame:
    """Return ``data`` as a frame to one unit: 0 to 7 with 11 bits, 0 to 255 with 29."""
    if not 0 <= unit < UNITS[bits]:
        raise ValueError(f"unit {unit} of {UNITS[bits]}")
    return Frame(_TO_ONE_11 + unit, data) if bits == 11 else Frame(_TO_ONE_29 + (unit << 8), data, True)


def answer_from(bits: int, unit: int, data: bytes) -> Frame:
    """Return ``data`` as a frame that a unit answers with: the vehicle's side."""
    if not 0 <= unit < UNITS[bits]:
        raise ValueError(f"unit {unit} of {UNITS[bits]}")
    return Frame(_FROM_ONE_11 + unit, data) if bits == 11 else Frame(_FROM_ONE_29 + unit, data, True)


def find_sender(frame: Frame) -> int | None:
    """Return the unit that answers with this frame, or None for any other frame.

    >>> find_sender(Frame(0x7E9, b"")), find_sender(Frame(0x18DAF110, b"", True))
    (1, 16)
    >>> find_sender(Frame(0x123, b"")) is None
    True
    """
    first = _FROM_ONE_29 if frame.extended else _FROM_ONE_11
    unit = frame.frame_id - first
    return unit if 0 <= unit < UNITS[frame.bits] else None


def find_addressed(frame: Frame) -> range | None:
    """Return the units that a request is addressed to, or None for an identifier that is no request's."""
    count = UNITS[frame.bits]
    if frame.frame_id == _TO_ALL[frame.bits]:
        return range(count)
    if frame.extended:
        unit, rest = divmod(frame.frame_id - _TO_ONE_29, 256)
        return range(unit, unit + 1) if rest == 0 and 0 <= unit < count else None
    unit = frame.frame_id - _TO_ONE_11
    return range(unit, unit + 1) if 0 <= unit < count else None


def name_unit(bits: int, unit: int) -> str:
    """Return a unit's name as people on the bus write it: the identifier of its answers."""
    frame = answer_from(bits, unit, b"")
    return f"{frame.frame_id:08X}" if frame.extended else f"{frame.frame_id:03X}"
