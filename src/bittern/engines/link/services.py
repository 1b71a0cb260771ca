"""What is asked and answered: SAE J1979 service 01 (data now) and service 09 (the vehicle's data).

Four requests, and no other: they are the whole list of what may be asked.
"""

from __future__ import annotations

from dataclasses import dataclass

from bittern.core.errors import shorten
from bittern.engines.link.errors import AnswerError

POSITIVE = 0x40
NEGATIVE = 0x7F
PENDING = 0x78
NUMBER_CHARACTERS = 17
LONGEST_ANSWER = 64
"""The number's answer has 20 bytes; what says it is far longer is no answer to these questions."""
MOST_VOLTS = 65.535


@dataclass(frozen=True, slots=True)
class Request:
    """One request: service and item, and what it asks for in words."""

    service: int
    item: int
    asks: str

    @property
    def payload(self) -> bytes:
        """The two bytes of the request."""
        return bytes([self.service, self.item])

    @property
    def answer_head(self) -> bytes:
        """The two bytes that an answer begins with."""
        return bytes([self.service + POSITIVE, self.item])


WHAT_NOW = Request(0x01, 0x00, "what it can say of its state")
VOLTAGE = Request(0x01, 0x42, "the supply voltage")
WHAT_VEHICLE = Request(0x09, 0x00, "what it can say of the vehicle")
NUMBER = Request(0x09, 0x02, "the number on board")
REQUESTS = (WHAT_NOW, VOLTAGE, WHAT_VEHICLE, NUMBER)

# ISO 14229-1 and ISO 15031-5 (from memory).
REFUSALS = {
    0x10: "it refuses in general",
    0x11: "it does not know the service",
    0x12: "it does not know the item",
    0x21: "it is busy",
    0x22: "the conditions are not right",
    0x31: "the item is out of range",
}


def find_refusal(request: Request, message: bytes) -> int | None:
    """Return the reason's code where ``message`` refuses ``request``, else None."""
    if len(message) == 3 and message[0] == NEGATIVE and message[1] == request.service:
        return message[2]
    return None


def word_refusal(code: int) -> str:
    """Return a refusal's reason in words."""
    return REFUSALS.get(code, f"it refuses with code {code:02X}")


def take_content(request: Request, message: bytes) -> bytes:
    """Return what stands after the head of an answer.

    Raises
    ------
    AnswerError
        It answers another question.
    """
    if message[:2] != request.answer_head:
        raise AnswerError(
            message[:4].hex(" ").upper() or "nothing",
            f"an answer that begins with {request.answer_head.hex(' ').upper()}",
        )
    return message[2:]


def decode_supported(request: Request, message: bytes) -> frozenset[int]:
    """Return the items 1 to 32 that a unit offers: the first bit of the first byte is item 1.

    Examples
    --------
    >>> sorted(decode_supported(WHAT_NOW, bytes.fromhex("4100 80000001")))
    [1, 32]
    """
    content = take_content(request, message)
    # In service 09 the answer may have the count of its items in front on other buses than CAN.
    if len(content) != 4:
        raise AnswerError(f"{len(content)} bytes", "4 bytes, a bit an item", where=request.asks)
    bits = int.from_bytes(content, "big")
    return frozenset(item for item in range(1, 33) if bits >> (32 - item) & 1)


def encode_supported(request: Request, items: frozenset[int]) -> bytes:
    """Return the answer that offers ``items``, 1 to 32."""
    bits = sum(1 << (32 - item) for item in items if 1 <= item <= 32)
    return request.answer_head + bits.to_bytes(4, "big")


def decode_voltage(message: bytes) -> float:
    """Return the supply voltage in volts: (256 A + B) / 1000 (SAE J1979, item 42).

    Examples
    --------
    >>> decode_voltage(bytes.fromhex("41 42 31 38"))
    12.6
    """
    content = take_content(VOLTAGE, message)
    if len(content) != 2:
        raise AnswerError(f"{len(content)} bytes", "2 bytes", where=VOLTAGE.asks)
    return int.from_bytes(content, "big") / 1000


def encode_voltage(volts: float) -> bytes:
    """Return the answer that says ``volts``, 0 to 65.535, to the next millivolt."""
    raw = round(volts * 1000)
    if not 0 <= raw <= 0xFFFF:
        raise ValueError(f"{volts} V")
    return VOLTAGE.answer_head + raw.to_bytes(2, "big")


def decode_number(message: bytes) -> str:
    """Return the 17 characters of the number on board, as they were sent.

    Raises
    ------
    AnswerError
        The answer does not hold one number of 17 printable characters.

    Notes
    -----
    One byte that counts the items, here 1, then the number (SAE J1979, service 09 item 02). Nothing is
    corrected and the check digit is not looked at: what the vehicle says is what is compared.

    Examples
    --------
    >>> decode_number(bytes.fromhex("490201") + b"1M8GDM9AXKP042788")
    '1M8GDM9AXKP042788'
    """
    content = take_content(NUMBER, message)
    if content[:1] != b"\x01":
        found = f"a count of {content[0]}" if content else "nothing"
        raise AnswerError(found, "one number", where=NUMBER.asks)
    raw = content[1:]
    if len(raw) != NUMBER_CHARACTERS:
        raise AnswerError(f"{len(raw)} characters", f"{NUMBER_CHARACTERS}", where=NUMBER.asks)
    # Capitals and figures: whatever else a unit sends, it is not set up with a number.
    if not all(0x30 <= byte <= 0x39 or 0x41 <= byte <= 0x5A for byte in raw):
        raise AnswerError(shorten(raw), "capital letters and figures", where=NUMBER.asks)
    return raw.decode("ascii")


def encode_number(number: str) -> bytes:
    """Return the answer that says ``number``, 17 characters."""
    raw = number.encode("ascii")
    if len(raw) != NUMBER_CHARACTERS:
        raise ValueError(f"{len(raw)} characters")
    return NUMBER.answer_head + b"\x01" + raw
