"""``bittern link``: read the number on board and the supply voltage, and nothing else."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, NoAnswer, emit, tell
from bittern.core.errors import InputError, shorten

if TYPE_CHECKING:
    from bittern.engines.link.findings import Findings
    from bittern.engines.link.supply import SupplyLimits, SupplySample
    from bittern.link.sealed import SealedBus
    from bittern.work.number_on_board import NumberComparison

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

ChannelOption = Annotated[
    str,
    typer.Option(
        "--channel",
        metavar="KIND:NAME",
        help="The adapter: socketcan:can0, slcan:/dev/ttyACM0, or virtual:NAME within this program.",
    ),
]
SpeedOption = Annotated[
    int, typer.Option("--speed", metavar="N", help="Bits per second of a serial adapter: 500000 or 250000.")
]
BitsOption = Annotated[
    int | None,
    typer.Option("--bits", metavar="11|29", help="Length of identifiers; without it both are tried."),
]
DataOption = Annotated[Path | None, typer.Option("--data", metavar="DIR", help="The shop's data folder.")]
_TYPED = re.compile(r"([0-9]{1,6}(?:\.[0-9]+)?):([0-9]{1,2}(?:\.[0-9]+)?)")
MOST_SECONDS = 3600


@app.command("read")
def read_command(
    channel: ChannelOption,
    speed: SpeedOption = 500_000,
    bits: BitsOption = None,
    job: Annotated[int | None, typer.Option("--job", metavar="N", help="Compare with this job.")] = None,
    data: DataOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read the number on board and the supply voltage; with a job, stop if it is another vehicle."""
    from bittern.engines.link.supply import SupplySample, judge_supply
    from bittern.link.reading import read_vehicle

    _check_bits(bits)
    with _open(channel, speed) as bus:
        found = read_vehicle(bus, bits=bits)
    compared = _compare(found, job, data) if job is not None else None
    volts = found.supply_volts
    supply = judge_supply([] if volts is None else [SupplySample(0.0, volts)])
    emit(
        {
            **found.as_dict(),
            "supply": supply.as_dict(),
            "job": {"number": job, **compared.as_dict()} if compared else None,
        },
        as_json=as_json,
        text=lambda: _draw(found, compared, supply.say),
    )
    if compared.stops if compared else found.number is None:
        raise NoAnswer


@app.command("supply")
def supply_command(
    channel: Annotated[str | None, ChannelOption] = None,
    typed: Annotated[
        str | None,
        typer.Option("--typed", metavar="S:V,..", help="Readings by hand: seconds:volts, 0:12.61,60:12.48."),
    ] = None,
    seconds: Annotated[int, typer.Option("--seconds", metavar="N", help="How long to watch.")] = 30,
    least: Annotated[float, typer.Option("--least", metavar="V", help="Too low below this.")] = 12.0,
    comfort: Annotated[
        float, typer.Option("--comfort", metavar="V", help="Connect a supply below this.")
    ] = 12.4,
    speed: SpeedOption = 500_000,
    bits: BitsOption = None,
    as_json: JsonOption = False,
) -> None:
    """Watch the supply voltage and say in time when it will be too low; readings by hand count as well."""
    from bittern.engines.link.supply import SupplyLimits, judge_supply

    _check_bits(bits)
    limits = SupplyLimits(least_v=least, comfort_v=comfort)
    if (channel is None) == (typed is None):
        raise InputError("both or neither", "--channel or --typed", where="supply")
    if not 1 <= seconds <= MOST_SECONDS:
        raise InputError(str(seconds), f"1 to {MOST_SECONDS} seconds", where="--seconds")
    if typed is not None:
        samples = list(_parse_typed(typed))
    else:
        with _open(channel or "", speed) as bus:
            samples = list(_watch(bus, bits, seconds, limits))
    state = judge_supply(samples, limits)
    rows = [{"at_s": s.at_s - samples[0].at_s, "volts": s.volts, "source": s.source} for s in samples]
    emit({**state.as_dict(), "samples": rows}, as_json=as_json, text=state.say)
    if not state.may_begin:
        raise NoAnswer


def _open(channel: str, speed: int) -> SealedBus:
    from bittern.link.sealed import open_bus

    return open_bus(channel, speed=speed)


def _check_bits(bits: int | None) -> None:
    if bits not in (None, 11, 29):
        raise InputError(str(bits), "11 or 29", where="--bits")


def _watch(bus: SealedBus, bits: int | None, seconds: int, limits: SupplyLimits) -> Iterator[SupplySample]:
    """Yield readings for ``seconds``; each change of the state is said at once."""
    from bittern.engines.link.supply import judge_supply
    from bittern.link.reading import find_bits, watch_supply

    readings: Iterable[SupplySample] = watch_supply(bus, bits=find_bits(bus) if bits is None else bits)
    samples: list[SupplySample] = []
    level = ""
    for sample in itertools.islice(readings, MOST_SECONDS):
        samples.append(sample)
        state = judge_supply(samples, limits)
        if state.level != level:
            level = state.level
            tell(state.say)
        yield sample
        if sample.at_s - samples[0].at_s >= seconds:
            return


def _parse_typed(text: str) -> Iterator[SupplySample]:
    from bittern.engines.link.supply import SupplySample

    for part in text.split(","):
        found = _TYPED.fullmatch(part.strip())
        if found is None or not math.isfinite(float(found[1])):
            raise InputError(shorten(part), "seconds:volts, such as 60:12.48", where="--typed")
        yield SupplySample(float(found[1]), float(found[2]), "typed")


def _compare(found: Findings, number: int, data: Path | None) -> NumberComparison:
    from bittern.cli.handover import open_desk
    from bittern.work.number_on_board import compare_number

    desk = open_desk(data)
    return compare_number(desk, desk.store.load(number), tuple(found.numbers.values()))


def _draw(found: Findings, compared: NumberComparison | None, supply: str) -> str:
    number = found.number or "; ".join(f"{unit} says {text}" for unit, text in found.numbers.items())
    lines = [f"Number on board: {number or 'not given'}"]
    if compared:
        lines.append(compared.say)
    lines.append(f"Supply: {supply}")
    lines.append(f"Control units: {', '.join(found.units)} ({found.bits} bits)")
    return "\n".join([*lines, *(f"Note: {fault}" for fault in found.faults)])
