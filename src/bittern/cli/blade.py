"""``bittern blade``: contours, charts, readings, measurements and ladders."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from bittern.cli.blade_ladder import ladder
from bittern.cli.blade_options import (
    BittingOption,
    StandardOption,
    bitting_text,
    describe_measurement,
    get_allowed,
    get_blade,
)
from bittern.cli.blade_read import read
from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack, tell

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)


@app.command()
def contour(
    standard: StandardOption,
    bitting: BittingOption,
    step: Annotated[
        float | None,
        typer.Option("--step", metavar="MM", help="Sample at this step instead of at each bend."),
    ] = None,
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Compute the exact contour of a blade."""
    from bittern.engines.blade.outline import check_step, get_outline, sample_contour

    blade = get_blade(load_pack(pack), standard)
    if step is not None:
        check_step(blade, step)
    cuts = get_allowed(blade, bitting, {"points_mm": []}, as_json=as_json)

    def trace(edge: int) -> tuple[tuple[float, float], ...]:
        if step is None:
            return get_outline(blade, cuts, edge=edge)
        return sample_contour(blade, cuts, step, edge=edge)

    points = trace(0)
    data: dict[str, object] = {
        "standard": blade.id,
        "bitting": bitting_text(blade, cuts),
        "points_mm": points,
    }
    if blade.kind == "edge" and blade.sides != "single":
        lower = trace(1) if blade.sides == "split" else points
        data["lower_points_mm"] = [(x, -h) for x, h in lower]
    emit(data, as_json=as_json, text=lambda: "\n".join(f"{x:.4f} {h:.4f}" for x, h in points))


@app.command()
def chart(
    standard: StandardOption,
    bitting: BittingOption,
    out: Annotated[Path, typer.Option("--out", metavar="F.svg", help="File to write.")],
    unit: Annotated[str, typer.Option("--unit", help="Unit of the numbers: mm or inch.")] = "mm",
    title: Annotated[str, typer.Option("--title", help="Heading instead of the standard's title.")] = "",
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Draw a blade to scale with its dimensions, as SVG."""
    from bittern.core.errors import InputError
    from bittern.formats.chart import render_chart

    blade = get_blade(load_pack(pack), standard)
    cuts = get_allowed(blade, bitting, {"out": None}, as_json=as_json)
    svg = render_chart(blade, cuts, unit=unit, title=title)
    try:
        out.write_text(svg, encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"a place that cannot be written ({error.strerror})", "a file", where=str(out)
        ) from error
    data = {"out": str(out), "standard": blade.id, "bitting": bitting_text(blade, cuts)}
    emit(data, as_json=as_json, text=f"Wrote {out}.")


app.command()(read)


@app.command()
def measure(
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="Readings: position,height_mm,sd_mm.")],
    standard: StandardOption,
    pack: PackOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell the bitting from caliper readings, and which cut to measure again."""
    from bittern.engines.blade.caliper import decode_readings
    from bittern.formats.caliper import read_caliper

    blade = get_blade(load_pack(pack), standard)
    sheet = read_caliper(file, blade)
    if sheet.positions_as != "cut numbers":
        tell(f"bittern: read the positions as {sheet.positions_as}")
    measured = decode_readings(blade, sheet.readings)
    data = {**measured.as_dict(), "positions_as": sheet.positions_as}
    emit(data, as_json=as_json, text=lambda: describe_measurement(measured))
    if not measured.allowed:
        raise NoAnswer


app.command()(ladder)
