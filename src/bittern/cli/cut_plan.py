"""``bittern cut plan``: a cutting program, written, read back and swept before anybody may use it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from bittern.cli.blade_options import BittingOption, StandardOption, bitting_text, get_allowed, get_blade
from bittern.cli.cut_options import EdgeOption, ToolOption, get_edge, get_tool
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack, tell

if TYPE_CHECKING:
    from bittern.engines.blade.bitting import Bitting
    from bittern.engines.blade.standard import BladeStandard
    from bittern.engines.cutting.cutter import Cutter
    from bittern.engines.cutting.machine import Machine
    from bittern.engines.cutting.sweep import SweepResult
    from bittern.work.cutting import PlannedProgram, Wish

LEAST, MOST = 0.01, 1_000_000.0
LONGEST_JOB = 64
NOTHING: dict[str, object] = {
    "out": None,
    "length_mm": None,
    "time_s": None,
    "worst_error_mm": None,
    "root_error_mm": None,
    "gouge_mm": None,
    "warnings": [],
}
OutOption = Annotated[Path, typer.Option("--out", metavar="F.nc", help="File to write.")]
MaterialOption = Annotated[
    str, typer.Option("--material", metavar="M", help="Blade of brass, nickel-silver or steel.")
]
MillingOption = Annotated[str, typer.Option("--milling", metavar="W", help="climb or conventional.")]
DepthOption = Annotated[
    float | None,
    typer.Option("--depth-of-cut", metavar="MM", help="Of a roughing pass; by material without it."),
]
SpeedOption = Annotated[
    float | None, typer.Option("--speed", metavar="RPM", help="Of the spindle; by the formulas without it.")
]
FeedOption = Annotated[
    float | None, typer.Option("--feed", metavar="MM/MIN", help="Of roughing; by the formulas without it.")
]
MachineOption = Annotated[
    Path | None, typer.Option("--machine", metavar="F.toml", help="Machine profile; a plain mill without it.")
]
JobOption = Annotated[str, typer.Option("--job", metavar="N", help="Job number for the program's header.")]


def plan(
    standard: StandardOption,
    bitting: BittingOption,
    tool: ToolOption,
    out: OutOption,
    edge: EdgeOption = None,
    material: MaterialOption = "brass",
    milling: MillingOption = "climb",
    depth: DepthOption = None,
    speed: SpeedOption = None,
    feed: FeedOption = None,
    machine: MachineOption = None,
    job: JobOption = "",
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the program that cuts a blade, and keep it only if its sweep leaves the blade right."""
    from bittern.work.cutting import list_fitting, list_warnings

    stock = load_pack(pack)
    blade, cutter = get_blade(stock, standard), get_tool(stock, tool)
    numbers = {"--depth-of-cut": depth, "--speed": speed, "--feed": feed}
    wish = _read_wish(material, milling, job, numbers, get_edge(blade, edge))
    mill = _read_machine(machine)
    cuts = get_allowed(blade, bitting, NOTHING, as_json=as_json)
    told: dict[str, Any] = {
        "standard": blade.id,
        "bitting": bitting_text(blade, cuts),
        "tool": cutter.id,
        "cutters": list_fitting(stock.tools.values(), blade),
    }
    planned = _plan(blade, cuts, cutter, mill, wish, told, out, as_json=as_json)
    _write(out, planned.text)
    swept = _prove(out, blade, cuts, cutter, wish, told, as_json=as_json)
    data = {
        **told,
        "out": str(out),
        "length_mm": planned.duration.length_mm,
        "time_s": planned.duration.time_s,
        **_list_errors(swept),
        "warnings": list_warnings(planned, swept),
        "cutting_min": planned.duration.cutting_s / 60,
        "speed_rpm": planned.feeds.speed_rpm,
        "feed_mm_min": planned.feeds.rough_mm_min,
    }
    emit(data, as_json=as_json, text=lambda: _describe(out, planned, swept))


def _plan(
    blade: BladeStandard,
    cuts: Bitting,
    cutter: Cutter,
    mill: Machine,
    wish: Wish,
    told: Mapping[str, Any],
    out: Path,
    *,
    as_json: bool,
) -> PlannedProgram:
    """Return the program, or say which cutter or machine is in its way."""
    from bittern.engines.cutting.errors import CutterError, TravelError
    from bittern.work.cutting import plan_program

    try:
        return plan_program(blade, cuts, cutter, mill, wish)
    except CutterError as error:
        can = f"cutters that can: {', '.join(told['cutters']) or 'none of the pack'}"
        reasons = [*error.reasons, can]
    except TravelError as error:
        reasons = [str(error)]
    if out.exists():
        reasons.append(f"{out} is from before: it was not written now")
    raise _refuse(told, reasons, as_json=as_json)


def _prove(
    out: Path,
    blade: BladeStandard,
    cuts: Bitting,
    cutter: Cutter,
    wish: Wish,
    told: Mapping[str, Any],
    *,
    as_json: bool,
) -> SweepResult:
    """Return the sweep of the file as it came to lie on the disk; one that spoils the key is removed."""
    from bittern.formats.texts import read_text
    from bittern.work.cutting import list_spoiling, prove_program

    try:
        swept = prove_program(read_text(out), blade, cuts, cutter, edge=wish.edge, where=str(out))
    except BaseException:
        out.unlink()
        raise
    spoiling = list_spoiling(swept)
    if spoiling:
        out.unlink()
        raise _refuse({**told, **_list_errors(swept)}, [*spoiling, f"{out} was removed"], as_json=as_json)
    return swept


def _list_errors(swept: SweepResult) -> dict[str, object]:
    return {
        "worst_error_mm": swept.worst_error_mm,
        "root_error_mm": swept.root_error_mm,
        "gouge_mm": swept.gouge_mm,
    }


def _refuse(told: Mapping[str, Any], reasons: Sequence[str], *, as_json: bool) -> NoAnswer:
    """Say why there is no file, and return the "no" to raise."""
    for reason in reasons:
        tell(f"bittern: {reason}")
    if as_json:
        emit({**NOTHING, **told, "warnings": list(reasons)}, as_json=True, text="")
    return NoAnswer()


def _read_wish(material: str, milling: str, job: str, numbers: Mapping[str, float | None], edge: int) -> Wish:
    from bittern.core.errors import InputError, shorten
    from bittern.engines.cutting.feeds import BLADE_MATERIALS
    from bittern.work.cutting import MILLINGS, Wish

    for name, word, words in (("--material", material, BLADE_MATERIALS), ("--milling", milling, MILLINGS)):
        if word not in words:
            raise InputError(shorten(word), " or ".join(words), where=name)
    if len(job) > LONGEST_JOB:
        raise InputError(f"{len(job)} characters", f"at most {LONGEST_JOB}", where="--job")
    for name, number in numbers.items():
        if number is not None and not LEAST <= number <= MOST:
            raise InputError(f"{number:g}", f"{LEAST:g} to {MOST:g}", where=name)
    depth, speed, feed = numbers.values()
    return Wish(edge, material, milling == "climb", depth, speed, feed, job)


def _read_machine(path: Path | None) -> Machine:
    from bittern.engines.cutting.machine import Machine
    from bittern.formats.machines import read_machine

    return Machine() if path is None else read_machine(path)


def _write(out: Path, text: str) -> None:
    from bittern.core.errors import InputError

    try:
        out.write_text(text, encoding="ascii")
    except OSError as error:
        raise InputError(
            f"a place that cannot be written ({error.strerror})", "a file", where=str(out)
        ) from error


def _describe(out: Path, planned: PlannedProgram, swept: SweepResult) -> str:
    from bittern.work.cutting import list_warnings

    duration, feeds = planned.duration, planned.feeds
    minutes, seconds = divmod(round(duration.time_s), 60)
    return "\n".join(
        [
            f"Wrote {out}: {duration.length_mm:.0f} mm, about {minutes} min {seconds:02} s,"
            f" the cutter cuts for {duration.cutting_s / 60:.1f} min.",
            f"Swept: roots within {swept.root_error_mm:.3f} mm, at most {swept.gouge_mm:.3f} mm too deep,"
            f" anywhere within {swept.worst_error_mm:.3f} mm.",
            f"Spindle {feeds.speed_rpm:.0f} turns a minute, feed {feeds.rough_mm_min:.0f} mm/min.",
            *(f"Note: {warning}." for warning in list_warnings(planned, swept)),
            "Before you start: eye protection on, guard closed, nothing loose near the cutter.",
        ]
    )
