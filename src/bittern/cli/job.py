"""``bittern job``: carry a job through its legs from the command line."""

from __future__ import annotations

import json
import math
import re
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.job_ladder import ladder_command
from bittern.cli.output import JsonOption, emit
from bittern.core.errors import InputError, shorten

if TYPE_CHECKING:
    from bittern.work.legs import Traveller

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

DataOption = Annotated[Path | None, typer.Option("--data", metavar="DIR", help="The shop's data folder.")]
PersonOption = Annotated[
    str, typer.Option("--person", metavar="LOGIN", help="Who does it; stands in the log.")
]
NumberArgument = Annotated[int, typer.Argument(metavar="NUMBER", help="The job's number.")]
FileArgument = Annotated[
    Path | None,
    typer.Argument(metavar="[FILE]", help="JSON object with the act's fields; - reads standard input."),
]
# A docstring names functions in the markup of the reference; a person reads the name.
_MARKUP = re.compile(r":\w+:`~?([^`]*)`|``([^`]*)``")


@app.command("open", help="Open a job: fields want, customer, phone, plate, note.")
def open_command(
    file: Annotated[Path, typer.Argument(metavar="FILE")],
    person: PersonOption,
    data: DataOption = None,
    as_json: JsonOption = False,
) -> None:
    """Open a job and print its number."""
    from bittern.cli.handover import find_person, open_desk
    from bittern.work.request import open_job

    desk = open_desk(data)
    job = open_job(desk, find_person(person), _read_fields(file))
    emit({"number": job.number}, as_json=as_json, text=f"Job {job.number} is open.")


@app.command("do", help="Do one act on a job; `bittern job acts` lists them.")
def do_command(
    number: NumberArgument,
    name: Annotated[str, typer.Argument(metavar="ACT")],
    person: PersonOption,
    file: FileArgument = None,
    data: DataOption = None,
    as_json: JsonOption = False,
) -> None:
    """Do one act and print what to do next."""
    from bittern.cli.handover import find_person, open_desk
    from bittern.work.actions import act
    from bittern.work.legs import draw_traveller

    desk = open_desk(data)
    act(desk, number, find_person(person), name, _read_fields(file) if file else {})
    job = desk.store.load(number)
    traveller = draw_traveller(job)
    emit(_describe(number, job.state, traveller), as_json=as_json, text=lambda: _say_next(traveller))


@app.command("show", help="Show a job's legs and what to do next.")
def show_command(number: NumberArgument, data: DataOption = None, as_json: JsonOption = False) -> None:
    """Print the traveller."""
    from bittern.cli.handover import open_desk
    from bittern.work.detail import describe_open_leg
    from bittern.work.legs import draw_traveller

    desk = open_desk(data)
    job = desk.store.load(number)
    traveller = draw_traveller(job)

    def draw() -> str:
        rows = [f"{leg.title:<10} {leg.state:<11} {leg.line}".rstrip() for leg in traveller.legs]
        return "\n".join([f"Job {number} ({job.state})", *rows, "", _say_next(traveller)])

    found = _describe(number, job.state, traveller)
    # What the open leg needs is worked out for programs only: a person looks at the bench.
    emit({**found, "open": describe_open_leg(desk, job)} if as_json else found, as_json=as_json, text=draw)


@app.command("acts", help="List the acts and the leg each belongs to.")
def acts_command(as_json: JsonOption = False) -> None:
    """Print every act with its leg and its meaning."""
    from bittern.work.actions import ACTS

    acts = [
        {"act": name, "leg": leg, "meaning": _get_meaning(function)} for name, (leg, function) in ACTS.items()
    ]
    emit(
        {"acts": acts},
        as_json=as_json,
        text=lambda: "\n".join(f"{a['act']:<20} {a['leg']:<9} {a['meaning']}" for a in acts),
    )


def _get_meaning(function: Callable[..., object]) -> str:
    first = (function.__doc__ or "").strip().splitlines()[0]
    return _MARKUP.sub(lambda found: found[1] or found[2], first)


@app.command("sheet", help="Write the handover sheet as PDF.")
def sheet_command(
    number: NumberArgument,
    out: Annotated[Path, typer.Option("--out", metavar="F.pdf")],
    data: DataOption = None,
    as_json: JsonOption = False,
) -> None:
    """Write the PDF."""
    from bittern.cli.handover import find_zone, open_desk
    from bittern.formats.handover_pdf import render_handover
    from bittern.work.handover import compose_sheet

    desk = open_desk(data)
    pdf = render_handover(compose_sheet(desk.store.load(number), desk.terms, find_zone()))
    try:
        out.write_bytes(pdf)
    except OSError as error:
        raise InputError(str(error), "a path that can be written", where=str(out)) from error
    emit({"out": str(out)}, as_json=as_json, text=f"Wrote {out}.")


app.command("ladder")(ladder_command)


def _describe(number: int, state: str, traveller: Traveller) -> dict[str, object]:
    step = traveller.next
    return {
        "number": number,
        "state": state,
        "legs": [{"leg": leg.name, "state": leg.state, "line": leg.line} for leg in traveller.legs],
        "next": {"leg": step.leg, "say": step.say, "why": step.why, "waits_for": step.wait} if step else None,
    }


def _say_next(traveller: Traveller) -> str:
    return f"Next: {traveller.next.say}" if traveller.next else "Nothing more to do."


def _read_fields(file: Path) -> Mapping[str, object]:
    """Return the JSON object in ``file``; raises InputError."""
    from bittern.formats.texts import read_text

    where = "standard input" if str(file) == "-" else str(file)
    text = _read_standard_input() if str(file) == "-" else read_text(file)
    try:
        found = json.loads(text, parse_constant=_refuse, parse_float=_read_float)
    except (ValueError, RecursionError) as error:
        raise InputError(f"text that is not JSON: {error}", "one JSON object", where=where) from error
    if not isinstance(found, dict):
        raise InputError(shorten(found), "one JSON object of fields", where=where)
    return found


def _read_standard_input() -> str:
    from bittern.formats.texts import TEXT_LIMIT_BYTES, decode_text

    where = "standard input"
    if sys.stdin is None:
        raise InputError("a closed stream", "one JSON object", where=where)
    raw = sys.stdin.buffer.read(TEXT_LIMIT_BYTES + 1)
    if len(raw) > TEXT_LIMIT_BYTES:
        raise InputError("more text", f"at most {TEXT_LIMIT_BYTES:,} bytes", where=where)
    return decode_text(raw, where)


def _refuse(constant: str) -> object:
    raise ValueError(f"{constant} is not a JSON number")


def _read_float(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text} is beyond every number")
    return number
