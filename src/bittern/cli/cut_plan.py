"""``bittern cut plan``: a cutting program, written, read back and swept before anybody may use it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from bittern.cli.blade_options import BittingOption, StandardOption, bitting_text, get_allowed, get_blade
from bittern.cli.cut_options import EdgeOption, ToolOption, get_edge, get_tool
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack, tell

if TYPE_CHECKING:
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


def plan(
    standard: StandardOption,
    bitting: BittingOption,
    tool: ToolOption,
    out: Annotated[Path, typer.Option("--out", metavar="F.nc", help="File to write.")],
    edge: EdgeOption = None,
    material: Annotated[
        str, typer.Option("--material", metavar="M", help="Blade of brass, nickel-silver or steel.")
    ] = "brass",
    milling: Annotated[str, typer.Option("--milling", metavar="W", help="climb or conventional.")] = "climb",
    depth: Annotated[
        float | None,
        typer.Option("--depth-of-cut", metavar="MM", help="Of a roughing pass; by material without it."),
    ] = None,
    speed: Annotated[
        float | None,
        typer.Option("--speed", metavar="RPM", help="Of the spindle; by the formulas without it."),
    ] = None,
    feed: Annotated[
        float | None,
        typer.Option("--feed", metavar="MM/MIN", help="Roughing feed; by the formulas without it."),
    ] = None,
    machine: Annotated[
        Path | None,
        typer.Option("--machine", metavar="F.toml", help="Machine profile; a plain mill without it."),
    ] = None,
    job: Annotated[str, typer.Option("--job", metavar="N", help="Job number for the program's header.")] = "",
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the program that cuts a blade, and keep it only if its sweep leaves the blade right."""
    from bittern.engines.cutting.errors import CutterError, TravelError
    from bittern.formats.texts import read_text
    from bittern.work.cutting import list_fitting, list_spoiling, plan_program, prove_program

    stock = load_pack(pack)
    blade, cutter = get_blade(stock, standard), get_tool(stock, tool)
    wish = _read_wish(
        material,
        milling,
        job,
        {"--depth-of-cut": depth, "--speed": speed, "--feed": feed},
        get_edge(blade, edge),
    )
    mill = _read_machine(machine)
    cuts = get_allowed(blade, bitting, NOTHING, as_json=as_json)
    told: dict[str, object] = {
        "standard": blade.id,
        "bitting": bitting_text(blade, cuts),
        "tool": cutter.id,
        "cutters": list_fitting(stock.tools.values(), blade),
    }
    try:
        planned = plan_program(blade, cuts, cutter, mill, wish)
    except CutterError as error:
        fitting = ", ".join(list_fitting(stock.tools.values(), blade)) or "none of the pack"
        _refuse(told, [*error.reasons, f"cutters that can: {fitting}"], as_json=as_json)
    except TravelError as error:
        _refuse(told, [str(error)], as_json=as_json)
    _write(out, planned.text)
    try:
        # The file itself is proven, as it came to lie on the disk.
        swept = prove_program(read_text(out), blade, cuts, cutter, edge=wish.edge, where=str(out))
    except BaseException:
        out.unlink()
        raise
    errors = {
        "worst_error_mm": swept.worst_error_mm,
        "root_error_mm": swept.root_error_mm,
        "gouge_mm": swept.gouge_mm,
    }
    faults = list_spoiling(swept)
    if faults:
        out.unlink()
        _refuse({**told, **errors}, [*faults, f"{out} was removed"], as_json=as_json)
    data = {
        **told,
        "out": str(out),
        "length_mm": planned.duration.length_mm,
        "time_s": planned.duration.time_s,
        **errors,
        "warnings": list(planned.warnings),
        "cutting_min": planned.duration.cutting_s / 60,
        "speed_rpm": planned.feeds.speed_rpm,
        "feed_mm_min": planned.feeds.rough_mm_min,
    }
    emit(data, as_json=as_json, text=lambda: _describe(out, planned, swept))


def _refuse(told: Mapping[str, object], reasons: Sequence[str], *, as_json: bool) -> NoReturn:
    """Say why there is no file, and end with a "no"."""
    for reason in reasons:
        tell(f"bittern: {reason}")
    if as_json:
        emit({**NOTHING, **told, "warnings": list(reasons)}, as_json=True, text="")
    raise NoAnswer


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
    duration, feeds = planned.duration, planned.feeds
    minutes, seconds = divmod(round(duration.time_s), 60)
    return "\n".join(
        [
            f"Wrote {out}: {duration.length_mm:.0f} mm, about {minutes} min {seconds:02} s,"
            f" the cutter cuts for {duration.cutting_s / 60:.1f} min.",
            f"Swept: roots within {swept.root_error_mm:.3f} mm, at most {swept.gouge_mm:.3f} mm too deep,"
            f" anywhere within {swept.worst_error_mm:.3f} mm.",
            f"Spindle {feeds.speed_rpm:.0f} turns a minute, feed {feeds.rough_mm_min:.0f} mm/min.",
            *(f"Note: {warning}." for warning in planned.warnings),
            "Before you start: eye protection on, guard closed, nothing loose near the cutter.",
        ]
    )
