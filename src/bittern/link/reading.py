"""Reading a vehicle over a sealed bus: a question at a time, each with an end."""

from __future__ import annotations

from collections.abc import Iterator

from bittern.engines.link.errors import SilenceError
from bittern.engines.link.exchange import USUAL, Answers, Exchange, Patience, UnitFault
from bittern.engines.link.findings import Findings
from bittern.engines.link.frame import BITS, name_unit
from bittern.engines.link.services import (
    NUMBER,
    VOLTAGE,
    WHAT_NOW,
    WHAT_VEHICLE,
    Request,
    decode_number,
    decode_supported,
    decode_voltage,
)
from bittern.engines.link.supply import SupplySample
from bittern.link.sealed import SealedBus


def ask(
    bus: SealedBus,
    request: Request,
    *,
    bits: int = 11,
    unit: int | None = None,
    patience: Patience = USUAL,
) -> Answers:
    """Ask all units or one, and return the answers; ends in time whatever comes or does not come."""
    if not let_pass(bus, bus.next_request_s, patience.most_frames):
        flood = UnitFault("", f"more than {patience.most_frames} frames before the question")
        return Answers(request, bits, faults=(flood,), flooded=True)
    bus.clear()
    exchange = Exchange(request, bits=bits, unit=unit, patience=patience)
    bus.send(exchange.begin(bus.now_s()))
    while not exchange.is_over(now_s := bus.now_s()):
        frame = bus.receive(exchange.until_s() - now_s)
        reply = exchange.feed(frame, bus.now_s()) if frame else None
        if reply:
            bus.send(reply)
    return exchange.conclude()


def let_pass(bus: SealedBus, until_s: float, most_frames: int) -> bool:
    """Let the time pass until ``until_s``; what comes meanwhile answers nothing that was asked.

    Returns False where ``most_frames`` came before that time.
    """
    for _ in range(most_frames):
        left_s = until_s - bus.now_s()
        if left_s <= 0:
            return True
        bus.receive(left_s)
    return False


def read_vehicle(bus: SealedBus, *, bits: int | None = None, patience: Patience = USUAL) -> Findings:
    """Return the number on board and the supply voltage, with who said it and what went wrong.

    Parameters
    ----------
    bus
        The bus.
    bits
        11 or 29; None: whichever the vehicle answers to, 11 first.

    Raises
    ------
    SilenceError
        No unit answers.
    AdapterError
        The adapter stopped.
    """
    greeting = _find_units(bus, BITS if bits is None else (bits,), patience)
    bits = greeting.bits
    faults = list(greeting.read(_accept)[1])
    offers, _ = ask(bus, WHAT_VEHICLE, bits=bits, patience=patience).read(
        lambda message: decode_supported(WHAT_VEHICLE, message)
    )
    numbers: dict[str, str] = {}
    if offers and not any(NUMBER.item in items for items in offers.values()):
        faults.append(UnitFault("", "no unit offers the number on board"))
    else:
        numbers, wrong = ask(bus, NUMBER, bits=bits, patience=patience).read(decode_number)
        faults += wrong
    volts, wrong = ask(bus, VOLTAGE, bits=bits, patience=patience).read(decode_voltage)
    faults += wrong
    units = {name_unit(bits, unit) for unit in greeting.messages} | {*offers, *numbers, *volts}
    return Findings(bits, tuple(sorted(units)), numbers, volts, tuple(dict.fromkeys(faults)))


def find_bits(bus: SealedBus, *, patience: Patience = USUAL) -> int:
    """Return the length of identifiers that the vehicle answers to; raises SilenceError."""
    return _find_units(bus, BITS, patience).bits


def _find_units(bus: SealedBus, every_bits: tuple[int, ...], patience: Patience) -> Answers:
    for bits in every_bits:
        greeting = ask(bus, WHAT_NOW, bits=bits, patience=patience)
        if not greeting.silent:
            return greeting
    raise SilenceError(
        "no answer",
        "at least one control unit to answer",
        where="vehicle",
        hint="ignition on, plug seated, the right speed (250000 or 500000); not every vehicle answers, "
        "then type number and voltage in",
    )


def _accept(message: bytes) -> bytes:
    return message


def watch_supply(
    bus: SealedBus, *, bits: int, period_s: float = 1.0, patience: Patience = USUAL
) -> Iterator[SupplySample]:
    """Yield the supply voltage about every ``period_s`` seconds, as long as somebody takes it.

    Raises
    ------
    SilenceError
        No unit tells its voltage.
    """
    while True:
        begun_s = bus.now_s()
        volts, faults = ask(bus, VOLTAGE, bits=bits, patience=patience).read(decode_voltage)
        if not volts:
            raise SilenceError(
                "; ".join(map(str, faults)) or "no answer",
                "a supply voltage",
                where="vehicle",
                hint="measure at the battery and type it in",
            )
        yield SupplySample(begun_s, min(volts.values()))
        let_pass(bus, begun_s + period_s, patience.most_frames)
