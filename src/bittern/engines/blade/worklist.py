"""The cutting list: what to cut where, for a person at a machine."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from bittern.engines.blade.bitting import EDGE_NAMES, Bitting
from bittern.engines.blade.outline import get_blade_polygon
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard


@dataclass(frozen=True, slots=True)
class CutRow:
    """One cut to make.

    Attributes
    ----------
    number
        From 1, in the order of the standard's positions.
    edge
        ``cut`` (the one cut edge), ``both`` (mirror: the same again with the key turned over), ``A`` (upper)
        or ``B`` (lower) on a split blade, ``face`` for a groove, ``faces`` for the same groove in both.
    position_mm
        From the datum to the cut's centre.
    label
        How the depth is written.
    height_mm
        What is left at the root, above the back edge or the centre line; a groove's offset from the centre
        line.
    depth_of_cut_mm
        From the uncut edge down to the root; for a groove its depth below the face.
    """

    number: int
    edge: str
    position_mm: float
    label: str
    height_mm: float
    depth_of_cut_mm: float

    def as_dict(self) -> dict[str, object]:
        """Return the row with its names as keys."""
        return asdict(self)


def cutting_list(standard: BladeStandard, bitting: Bitting) -> list[CutRow]:
    """Return the cuts of ``bitting`` in the order in which they are written.

    Raises
    ------
    UnknownCutError
        A cut is unknown.

    Notes
    -----
    The numbers are the standard's: no cutter radius, wear or machine offset is in them.
    """
    get_blade_polygon(standard, bitting)  # refuses unknown cuts, with their names
    if standard.kind == "track":
        edges: tuple[str, ...] = ("face",) if standard.sides == "single" else ("faces",)
    else:
        edges = {"single": ("cut",), "mirror": ("both",), "split": EDGE_NAMES}[standard.sides]
    top = get_edge_height_mm(standard)
    rows = []
    for edge, cuts in zip(edges, bitting.edges, strict=True):
        for number, (x, cut) in enumerate(zip(standard.positions_mm, cuts, strict=True), 1):
            assert cut is not None
            height = standard.depths_mm[cut]
            depth_of_cut = standard.groove_depth_mm if standard.kind == "track" else top - height
            rows.append(CutRow(number, edge, x, standard.labels[cut], height, depth_of_cut or 0.0))
    return rows
