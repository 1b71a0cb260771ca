"""``bittern job ladder``: the rung at hand, after a look that is on record."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, emit

if TYPE_CHECKING:
    from bittern.work.ladder import OpenedLadder


def ladder_command(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="The job's number.")],
    person: Annotated[str, typer.Option("--person", metavar="LOGIN", help="Who looks; stands in the log.")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why; stands in the log.")],
    data: Annotated[
        Path | None, typer.Option("--data", metavar="DIR", help="The shop's data folder.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Open the seal of a job's ladders and print the cutting at hand."""
    from bittern.cli.handover import find_person, open_desk
    from bittern.work.ladder import look_at_ladder

    desk = open_desk(data)
    opened = look_at_ladder(desk, number, find_person(person), reason)
    emit({"number": number, **_describe(opened)}, as_json=as_json, text=lambda: _say(opened))


def _describe(opened: OpenedLadder) -> dict[str, object]:
    from bittern.engines.blade.bitting import format_bitting

    rung = opened.rung
    return {
        "standard": opened.standard.id,
        "known": opened.known,
        "ladders": [list(rungs) for rungs in opened.ladders],
        "proof": list(opened.proof),
        "rung": {
            "blank": rung.blank,
            "cutting": rung.cutting,
            "cuttings": rung.cuttings,
            "place": rung.place,
            "bitting": format_bitting(opened.standard, rung.bitting),
            "new_blank": rung.before is None,
            "deeper": list(rung.deeper),
        }
        if rung
        else None,
    }


def _say(opened: OpenedLadder) -> str:
    from bittern.core.phrases import join_words
    from bittern.engines.blade.bitting import format_bitting

    rung = opened.rung
    if rung is None:
        return "Every cutting was tried and none turned."
    cuts = "on a new blank, every cut" if rung.before is None else f"deeper at cut {join_words(rung.deeper)}"
    bitting = format_bitting(opened.standard, rung.bitting)
    head = f"Blank {rung.blank}, cutting {rung.cutting} of {rung.cuttings}"
    return f"{head}: {bitting}, {cuts} (place {rung.place})"
