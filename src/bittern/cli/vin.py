"""``bittern vin``: check, correct and decode vehicle identification numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from bittern.cli.output import JsonOption, NoAnswer, PackOption, emit, load_pack

if TYPE_CHECKING:
    from bittern.engines.vehicle.decode import Decoding
    from bittern.engines.vehicle.number import VinReport
    from bittern.engines.vehicle.suggestion import NumberPosterior

SHOWN = 10
"""Suggestions that a person is shown; ``--json`` gives all."""
SUSPICIOUS = 0.1
"""A place whose chance of a slip is smaller is not named; ``--json`` gives all."""

app = typer.Typer(no_args_is_help=True)

Text = Annotated[
    str, typer.Argument(metavar="TEXT", help="The number as read; spaces and hyphens are allowed.")
]
How = Literal["told", "read-aloud", "seen", "photographed", "measured"]


@app.command()
def check(text: Text, json: JsonOption = False, pack: PackOption = None) -> None:
    """Check a number: form, check digit, manufacturer, model year."""
    from bittern.engines.vehicle.number import check_vin

    if pack is not None:
        load_pack(pack)  # nothing of it is needed here, but a broken pack must not pass unseen
    report = check_vin(text)
    if report.valid:
        from bittern.data.vpic import look_up
        from bittern.engines.vehicle.decode import is_light

        # Position 7 tells the years' cycle for light vehicles only, and what is light only the data know.
        report = check_vin(text, light=is_light(report, look_up(report.vin)))
    emit(report.as_dict(), as_json=json, text=lambda: describe_report(report))
    if not report.valid:
        raise NoAnswer


@app.command()
def suggest(
    text: Text,
    json: JsonOption = False,
    pack: PackOption = None,
    how: Annotated[How, typer.Option("--how", help="How the number was got.")] = "seen",
) -> None:
    """List the numbers that could have been meant, best first."""
    from bittern.work.vehicle import weigh_text

    found = weigh_text(load_pack(pack), text, how)
    emit(found.as_dict(), as_json=json, text=lambda: describe_suggestions(found))
    if not found.suggestions:
        raise NoAnswer


@app.command()
def decode(text: Text, json: JsonOption = False, pack: PackOption = None) -> None:
    """Say which vehicle a number stands for, by the pack and the public vPIC data."""
    from bittern.data.vpic import look_up
    from bittern.engines.vehicle.decode import decode_vin

    shelf = load_pack(pack)
    decoding = decode_vin(text, shelf.numbers, look_up, spans=shelf.spans)
    emit(decoding.as_dict(), as_json=json, text=lambda: describe_decoding(decoding))
    if decoding.make is None:
        raise NoAnswer


def describe_report(report: VinReport) -> str:
    """Return the report for a person."""
    check_digit = report.check_digit
    lines = [f"{report.vin}  {'valid' if report.valid else 'not valid'}"]
    lines += [f"  {problem}" for problem in report.problems]
    lines += [f"  ({note})" for note in report.notes]
    if report.proposal:
        lines.append(f"  Perhaps {report.proposal}")
    if report.wmi:
        lines.append(f"Manufacturer identifier: {report.wmi}")
    if check_digit.expected:
        required = "required" if check_digit.required else "not required here"
        lines.append(f"Check digit: {check_digit.given}, expected {check_digit.expected} ({required})")
    if report.model_years:
        lines.append("Model year: " + " or ".join(map(str, report.model_years)))
    return "\n".join(lines)


def describe_suggestions(found: NumberPosterior) -> str:
    """Return the suggestions for a person."""
    if not found.suggestions:
        return "No number within two slips of this could be true."
    lines = [
        f"{one.probability:6.1%}  {one.vin}  {'; '.join(one.changes) or 'as read'}"
        for one in found.suggestions[:SHOWN]
    ]
    less_likely = found.suggestions[SHOWN:]
    if less_likely:
        rest = sum(one.probability for one in less_likely)
        lines.append(f"{rest:6.1%}  {len(less_likely)} less likely ones (--json lists them)")
    lines.append(f"{found.p_none:6.1%}  none of these")
    places = [
        f"{'before ' if one.slip == 'missing' else ''}{one.position} ({one.p:.0%})"
        for one in found.suspicious
        if one.p >= SUSPICIOUS
    ]
    if places:
        lines.append(f"Look again at position {', '.join(places)}.")
    return "\n".join([*lines, "Compare with the vehicle before using any of them."])


def describe_decoding(decoding: Decoding) -> str:
    """Return the decoding for a person."""
    name = " ".join(part for part in (decoding.make, decoding.model) if part) or "not known"
    years = " or ".join(map(str, decoding.model_years))
    lines = [f"{decoding.vin}  {name}" + (f", model year {years}" if decoding.make and years else "")]
    lines += [f"  ({note})" for note in decoding.notes]
    for attribute, value in decoding.attributes.items():
        lines.append(f"  {attribute}: {value if isinstance(value, str) else '; '.join(value)}")
    if decoding.source:
        lines.append(f"Source: {decoding.source}")
    return "\n".join(lines)
