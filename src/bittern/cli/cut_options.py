"""What the commands of ``bittern cut`` share: a cutter of the pack, and an edge by its name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from bittern.engines.blade.standard import BladeStandard
    from bittern.engines.cutting.cutter import Cutter
    from bittern.formats.packs import Pack

ToolOption = Annotated[str, typer.Option("--tool", metavar="T", help="Id of the cutter in the pack.")]
EdgeOption = Annotated[
    str | None, typer.Option("--edge", metavar="A|B", help="Edge of a split blade; A without it.")
]


def get_tool(pack: Pack, tool_id: str) -> Cutter:
    """Return a pack's cutter, or raise the error that lists those it has."""
    from bittern.core.errors import InputError, shorten

    try:
        return pack.tools[tool_id]
    except KeyError:
        known = ", ".join(sorted(pack.tools)) or "none: the pack has no cutters"
        raise InputError(shorten(tool_id), f"a cutter of the pack: {known}", where="--tool") from None


def get_edge(blade: BladeStandard, text: str | None) -> int:
    """Return 0 for edge A and 1 for B."""
    from bittern.core.errors import InputError, shorten
    from bittern.engines.blade.bitting import EDGE_NAMES, count_edges

    if text is None:
        return 0
    names = EDGE_NAMES[: count_edges(blade)]
    if text.upper() not in names:
        expected = " or ".join(names) if len(names) > 1 else "no --edge: only a split blade has two bittings"
        raise InputError(shorten(text), expected, where="--edge")
    return names.index(text.upper())
