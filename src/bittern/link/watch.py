"""An adapter watched as long as somebody wants it: the supply once a second, the number when it is asked for.

The only way by which the web application reaches an adapter. It runs in a thread of its caller and tells what
it hears; nobody who asks waits for it.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from bittern.engines.link.errors import LinkError, SilenceError
from bittern.engines.link.exchange import Patience
from bittern.engines.link.heard import MOST_SAMPLES, Heard, NumberHeard, note_low
from bittern.engines.link.services import VOLTAGE, decode_voltage
from bittern.engines.link.supply import SupplySample
from bittern.link.reading import ask, find_bits, let_pass, read_vehicle
from bittern.link.sealed import KINDS, SPEEDS, USUAL_SPEED, SealedBus, open_bus

__all__ = ["SPEEDS", "Watch", "Wish", "is_channel", "watch_channel"]

PERIOD_S = 1.0
"""From one reading of the supply to the next."""
RETRY_S = 3.0
"""After an adapter or a vehicle did not answer."""
PATIENCE = Patience(whole_s=6.0, most_frames=2000)
"""A page is waiting, though no request is: less than the command line grants. A bus of 500 kbit/s that
carries nothing but units' answers has twice as many frames in a second."""
MOST_FAULTS, LONGEST_FAULT = 8, 160

OPENING = "The adapter is being opened."
SILENT = (
    "No control unit of the vehicle answers: is the adapter seated in the socket, the ignition on? "
    "Until it does, measure at the battery and type the voltage in."
)
MUTE = "The vehicle does not tell its supply voltage: measure at the battery and type it in."
STOPPED = "The adapter does not answer: is it plugged in, and may this computer use it?"
FLOODED = (
    "Something floods the vehicle's bus, so nothing can be read: take out what else is in the socket, "
    "and type the voltage in."
)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted of the adapter: for which job, and since when its number, if it is wanted."""

    job: int
    number_s: float | None = None


class Watch:
    """Reads an adapter while somebody wishes it.

    Parameters
    ----------
    open_link
        Opens the adapter; raises AdapterError.
    find_wish
        Returns what is wanted now; None: nothing any more, and the adapter is let go.
    tell
        Takes each new word.
    stop
        Set from outside: it ends at the next moment.
    clock
        The clock of the buses that are opened.
    """

    def __init__(
        self,
        open_link: Callable[[], SealedBus],
        find_wish: Callable[[], Wish | None],
        tell: Callable[[Heard], None],
        *,
        stop: threading.Event | None = None,
        clock: Callable[[], float] = time.monotonic,
        period_s: float = PERIOD_S,
        retry_s: float = RETRY_S,
        patience: Patience = PATIENCE,
    ) -> None:
        self._open_link = open_link
        self._find_wish = find_wish
        self._tell = tell
        self._stop = stop or threading.Event()
        self._clock = clock
        self._period_s, self._retry_s, self._patience = period_s, retry_s, patience
        self._job = 0
        self._samples: deque[SupplySample] = deque(maxlen=MOST_SAMPLES)
        self._lows: list[SupplySample] = []
        self._number: NumberHeard | None = None
        self._asked_s: float | None = None

    def run(self) -> None:
        """Read until nobody wants it any more; adapters that come and go are waited for."""
        while self._take_wish() is not None:
            self._say("opening", OPENING)
            try:
                with self._open_link() as bus:
                    self._read(bus)
            except LinkError as error:
                self._fail_number(error)
                self._say("stopped", f"{STOPPED} It says: {error.found[:LONGEST_FAULT]}.")
            else:
                continue
            self._stop.wait(self._retry_s)
        self._say("off", "")

    def _read(self, bus: SealedBus) -> None:
        """Read over an open bus until nobody wants it, the bus is flooded, or the adapter stops."""
        bits: int | None = None
        while (wish := self._take_wish()) is not None:
            begun_s = bus.now_s()
            try:
                if self._asked_s is not None:
                    bits = self._read_number(bus, wish)
                if bits is None:
                    bits = find_bits(bus, patience=self._patience)
                calm = self._read_supply(bus, bits)
            except SilenceError as error:
                bits = None
                self._fail_number(error)
                self._say("silent", SILENT)
                calm = let_pass(bus, begun_s + self._retry_s, self._patience.most_frames)
            if not (calm and let_pass(bus, begun_s + self._period_s, self._patience.most_frames)):
                self._say("flooded", FLOODED)
                self._stop.wait(self._retry_s)
                return

    def _read_supply(self, bus: SealedBus, bits: int) -> bool:
        """Take one reading of the supply; return False where the bus is flooded."""
        answers = ask(bus, VOLTAGE, bits=bits, patience=self._patience)
        volts, faults = answers.read(decode_voltage)
        if volts:
            sample = SupplySample(bus.now_s(), min(volts.values()))
            self._samples.append(sample)
            note_low(self._lows, sample)
            self._say("answering", "")
        elif faults and not answers.flooded:
            self._say("answering", MUTE)
        elif not answers.flooded:
            raise SilenceError("no answer", "a supply voltage", where="vehicle")
        return not answers.flooded

    def _read_number(self, bus: SealedBus, wish: Wish) -> int | None:
        """Ask for the number on board; return the length of identifiers that the vehicle answers to."""
        begun_s = bus.now_s()
        found = read_vehicle(bus, patience=self._patience)
        faults = tuple(str(fault)[:LONGEST_FAULT] for fault in found.faults[:MOST_FAULTS])
        if self._find_job() == wish.job:
            self._number = NumberHeard(max(begun_s, wish.number_s or begun_s), found.numbers, faults)
            self._asked_s = None
            self._say("answering", "")
        return found.bits

    def _fail_number(self, error: LinkError) -> None:
        """Answer a question for the number with why there is none; an earlier number may be another's now."""
        at_s = self._asked_s
        if at_s is None and self._number is not None:
            at_s = self._number.at_s
        if at_s is not None:
            self._number = NumberHeard(at_s, {}, (error.found[:LONGEST_FAULT],))
        self._asked_s = None

    def _find_job(self) -> int:
        wish = self._find_wish()
        return wish.job if wish else 0

    def _take_wish(self) -> Wish | None:
        """Return the wish; what was heard for another job is forgotten."""
        wish = None if self._stop.is_set() else self._find_wish()
        if wish is None:
            return None
        if wish.job != self._job:
            self._job = wish.job
            self._samples.clear()
            self._lows.clear()
            self._number = self._asked_s = None
        if wish.number_s is not None and (self._number is None or self._number.at_s < wish.number_s):
            self._asked_s = wish.number_s
        return wish

    def _say(self, state: str, say: str) -> None:
        self._tell(
            Heard(
                state,
                say,
                self._job,
                self._clock(),
                tuple(self._samples),
                tuple(self._lows),
                self._number,
                self._asked_s,
            )
        )


def watch_channel(
    channel: str,
    find_wish: Callable[[], Wish | None],
    tell: Callable[[Heard], None],
    *,
    stop: threading.Event,
    speed: int = USUAL_SPEED,
) -> None:
    """Watch the adapter behind ``channel`` (KIND:NAME) until nobody wants it any more."""
    Watch(lambda: open_bus(channel, speed=speed), find_wish, tell, stop=stop, patience=PATIENCE).run()


def is_channel(channel: str) -> bool:
    """Tell whether ``channel`` is written as one: KIND:NAME."""
    kind, _, name = channel.partition(":")
    return kind in KINDS and bool(name)
