"""Cutting programs: ISO 6983-1 / RS-274 text of any author, read into moves."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import Final

from bittern.core.errors import InputError, shorten
from bittern.engines.cutting.motion import POINTS, Frame, Motion, Move, Place
from bittern.formats.program_words import Block, name_line, read_blocks, refuse

MM_PER_INCH: Final = 25.4
LIMIT_MOVES: Final = 200_000
LIMIT_PLACE_MM: Final = 100_000.0

# LinuxCNC, G2/G3 with a centre: the two radii may differ by this much (checks.md 8.13).
LARGE_GAP: Final = {"mm": 0.5, "inch": 0.05 * MM_PER_INCH}
SMALL_GAP: Final = {"mm": 0.005, "inch": 0.0005 * MM_PER_INCH}
SMALL_SHARE: Final = 0.001

_AXES: Final = "XYZ"
_NUMBER = r"([+-]?(?:\d+\.?\d*|\.\d+))"
_FRAME = re.compile(r"FRAME\s+x\s*=\s*([+-]?[XYZ])\s+h\s*=\s*([+-]?[XYZ])\s+n\s*=\s*([+-]?[XYZ])", re.I)
_ORIGIN = re.compile(rf"ORIGIN\s+X\s*{_NUMBER}\s*Y\s*{_NUMBER}\s*Z\s*{_NUMBER}", re.I | re.ASCII)
_POINT = re.compile(r"POINT\s+(\S+)", re.I)
_HEADS: Final = ("FRAME", "ORIGIN", "POINT")


def read_program(text: str, *, where: str) -> Motion:
    """Return the moves that a program makes.

    Parameters
    ----------
    text
        The whole program.
    where
        The file's name, for errors.

    Raises
    ------
    InputError
        Not a program, or one that says something other than a plain path: a word that is not understood, no
        units, no frame comment before the first move, a feed move without a feed, an arc whose radii
        disagree, two words of one modal group. The line and the word are named.

    Notes
    -----
    Modal state, order of execution in a line, and arcs as in RS-274/NGC. Lines marked with ``/`` are read.
    Absolute distances and the X-Y plane hold until the program says otherwise, as when a machine starts.
    Where the cutter stands before the program is not known: moves begin where every axis was given once.
    A wheel cuts whatever n is, so its n counts as known. The spindle turns from M3 or M4 to M5
    unless S0 stands; where no S word was given, the speed is the one set at the machine.
    """
    reader = _Reader(where)
    opened = False
    for block in read_blocks(text, where=where):
        for comment in block.comments:
            reader.hear(comment, block.line)
        if block.tape:
            if opened or reader.busy:
                reader.ended = reader.ended or opened
                break
            opened = True
            continue
        reader.run(block)
        if reader.ended:
            break
    return reader.finish()


@dataclass
class _Reader:
    """The machine's state while a program is read; lengths in mm."""

    where: str
    frame: Frame | None = None
    axes: tuple[tuple[int, int, int], tuple[int, int, int]] | None = None
    origin: Place | None = None
    point: str = ""
    units: str = ""
    absolute: bool = True
    absolute_centre: bool = False
    plane: str = "17"
    motion: str = ""
    feed_mm_min: float | None = None
    speed_rpm: float | None = None
    spindle: bool = False
    spoken: bool = False
    place: list[float | None] = field(default_factory=lambda: [None, None, None])
    known: list[int] = field(default_factory=lambda: [0, 0, 0])
    moves: list[Move] = field(default_factory=list)
    busy: bool = False
    ended: bool = False

    def hear(self, comment: str, line: int) -> None:
        """Take one of the three comments of a frame."""
        head = comment.split(maxsplit=1)[0].upper() if comment else ""
        if head not in _HEADS:
            return
        place = name_line(self.where, line)
        if self.busy:
            refuse(f"{head} after the first move", "the frame before the first move", place)
        if {"FRAME": self.axes, "ORIGIN": self.origin, "POINT": self.point}[head]:
            refuse(f"a second {head}", "one for the whole program", place)
        if head == "FRAME":
            self.axes = _read_frame(comment, place)
        elif head == "ORIGIN":
            self.origin = _read_origin(comment, place)
        else:
            self.point = _read_point(comment, place)

    def run(self, block: Block) -> None:
        """Execute one line in the order of RS-274/NGC."""
        at = name_line(self.where, block.line)
        values = block.values
        self.set_modes(block, at)
        self.set_speeds(block, at)
        moving = any(axis in values for axis in _AXES)
        arc = self.motion in ("2", "3")
        if moving or (arc and any(letter in values for letter in "IJR")):
            if "4" in block.g:
                refuse("a dwell and axis words in one line", "one of them", at)
            self.move(block, at)
        elif any(letter in values for letter in "IJKR"):
            refuse("words of an arc", "them only with G2 or G3", at)
        if "30" in block.m or "2" in block.m:
            self.ended = True

    def set_modes(self, block: Block, at: str) -> None:
        """Take the G words but for motion itself."""
        for code in block.g:
            if code in ("20", "21"):
                self.units = "inch" if code == "20" else "mm"
            elif code in ("90", "91"):
                self.absolute = code == "90"
            elif code in ("90.1", "91.1"):
                self.absolute_centre = code == "90.1"
            elif code in ("17", "18", "19"):
                self.plane = code
            elif code in ("0", "1", "2", "3", "80"):
                self.motion = code
        if "P" in block.values and "4" not in block.g and "64" not in block.g:
            refuse("a P word", "P only with G4 or G64", at)
        if "4" in block.g and block.values.get("P", -1.0) < 0:
            refuse("G4 without a time", "G4 P with seconds", at)

    def set_speeds(self, block: Block, at: str) -> None:
        """Take feed, speed and the spindle's words."""
        values = block.values
        if "F" in values:
            if values["F"] <= 0:
                refuse(f"F{values['F']:g}", "a feed above 0", at)
            self.feed_mm_min = values["F"] * self.scale(at)
        if "S" in values:
            if values["S"] < 0:
                refuse(f"S{values['S']:g}", "a speed of 0 or more", at)
            self.speed_rpm = values["S"]
        if "3" in block.m or "4" in block.m:
            self.spindle = True
        if "5" in block.m:
            self.spindle = False
        self.spoken = self.spoken or "S" in values or any(code in block.m for code in "345")

    def scale(self, at: str) -> float:
        """Return mm for each unit of the program."""
        if not self.units:
            refuse("no units", "G21 (or G20) before the first length", at)
        return MM_PER_INCH if self.units == "inch" else 1.0

    def move(self, block: Block, at: str) -> None:
        """Make the move of one line."""
        if self.motion in ("", "80"):
            refuse("axis words without a motion", "G0, G1, G2 or G3", at)
        self.begin(at)
        old = list(self.place)
        self.place = self.aim(block, at)
        if self.motion != "0":
            if self.feed_mm_min is None:
                refuse(f"G{self.motion} without a feed", "an F word before the first feed move", at)
            if None in old:
                names = ", ".join(axis for axis, value in zip(_AXES, old, strict=True) if value is None)
                refuse(f"a feed move from an unknown {names}", "each axis given in a G0 move first", at)
        if None in self.place:
            return
        x, y, z = (value for value in self.place if value is not None)
        end = (x, y, z)
        # Where it comes from is not known before every axis was given: then only the place itself counts.
        start = end if None in old else (old[0] or 0.0, old[1] or 0.0, old[2] or 0.0)
        arc = self.motion in ("2", "3")
        self.moves.append(
            Move(
                line=block.line,
                rapid=self.motion == "0",
                start=start,
                end=end,
                centre=self.find_centre(block, start, end, at) if arc else None,
                clockwise=self.motion == "2",
                feed_mm_min=None if self.motion == "0" else self.feed_mm_min,
                turning=self.spindle and self.speed_rpm != 0,
            )
        )
        if not arc and any(letter in block.values for letter in "IJKR"):
            refuse("words of an arc", "them only with G2 or G3", at)
        if len(self.moves) > LIMIT_MOVES:
            refuse(f"more than {LIMIT_MOVES:,} moves", "a shorter program", at)

    def begin(self, at: str) -> None:
        """Check, before the first move, that the frame is known."""
        if self.busy:
            return
        if self.axes is None or self.origin is None or not self.point:
            missing = "FRAME" if self.axes is None else "ORIGIN" if self.origin is None else "POINT"
            refuse(
                f"no comment {missing} before the first move",
                "(FRAME x=+X h=+Y n=+Z), (ORIGIN X0 Y0 Z0) and (POINT flat-middle)",
                at,
            )
        axes, signs = self.axes
        self.frame = Frame(axes, signs, self.origin, self.point)
        if self.point == "flat-middle":
            self.place[axes[2]] = self.origin[axes[2]]
        self.busy = True

    def aim(self, block: Block, at: str) -> list[float | None]:
        """Return where the move ends."""
        aimed = list(self.place)
        for number, axis in enumerate(_AXES):
            if axis not in block.values:
                continue
            value = block.values[axis] * self.scale(at)
            before = self.place[number]
            if not self.absolute:
                if before is None:
                    refuse(f"an incremental {axis} from an unknown place", f"an absolute {axis} first", at)
                value += before
            if abs(value) > LIMIT_PLACE_MM:
                refuse(f"{axis} at {value:g} mm", f"a place within {LIMIT_PLACE_MM:g} mm", at)
            aimed[number] = value
            if before is None:
                self.known[number] = block.line
        return aimed

    def find_centre(self, block: Block, start: Place, end: Place, at: str) -> tuple[float, float]:
        """Return an arc's centre in the X-Y plane."""
        if self.plane != "17":
            refuse(f"an arc in the plane G{self.plane}", "arcs in the X-Y plane (G17)", at)
        values, scale = block.values, self.scale(at)
        if "K" in values:
            refuse("K in the X-Y plane", "I and J", at)
        if "R" in values:
            if "I" in values or "J" in values:
                refuse("R and a centre", "one of them", at)
            return _find_by_radius(start, end, values["R"] * scale, clockwise=self.motion == "2", at=at)
        if "I" not in values and "J" not in values:
            refuse("an arc without centre and radius", "I and J, or R", at)
        if self.absolute_centre:
            if "I" not in values or "J" not in values:
                refuse("half of an absolute centre", "I and J with G90.1", at)
            centre = (values["I"] * scale, values["J"] * scale)
        else:
            centre = (
                start[0] + values.get("I", 0.0) * scale,
                start[1] + values.get("J", 0.0) * scale,
            )
        self.check_radii(start, end, centre, at)
        return centre

    def check_radii(self, start: Place, end: Place, centre: tuple[float, float], at: str) -> None:
        """Refuse an arc that does not end on its own circle."""
        first = math.dist(start[:2], centre)
        last = math.dist(end[:2], centre)
        gap = abs(first - last)
        small = SMALL_GAP[self.units] + 1e-9
        if gap > LARGE_GAP[self.units] or (gap > small and gap > SMALL_SHARE * first) or first <= 1e-6:
            refuse(
                f"an arc of radius {first:.4f} mm that ends at {last:.4f} mm from its centre",
                "both alike",
                at,
            )

    def finish(self) -> Motion:
        """Return what was read."""
        if self.frame is None or not self.moves:
            unknown = [axis for axis, value in zip(_AXES, self.place, strict=True) if value is None]
            if self.busy and unknown:
                raise InputError(f"no {unknown[0]} word", "a place on every axis", where=self.where)
            raise InputError("no move", "a cutting program in ISO 6983 / RS-274", where=self.where)
        known = (self.known[0], self.known[1], self.known[2])
        return Motion(self.frame, tuple(self.moves), self.ended, self.spoken, known)


def _find_by_radius(
    start: Place, end: Place, radius: float, *, clockwise: bool, at: str
) -> tuple[float, float]:
    """Return the centre of an arc by radius; a negative one takes more than half a turn."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if chord < 1e-9:
        refuse("an arc by radius that ends where it begins", "I and J for a full circle", at)
    if radius == 0:
        refuse("R0", "a radius", at)
    short = chord / 2 - abs(radius)
    if short > max(SMALL_GAP["mm"], SMALL_SHARE * abs(radius)):
        refuse(f"a radius of {abs(radius):g} mm for a chord of {chord:g} mm", "at least half of it", at)
    away = math.sqrt(max(0.0, radius * radius - chord * chord / 4))
    # The centre lies to the right of a clockwise arc of less than half a turn.
    side = -1.0 if clockwise == (radius > 0) else 1.0
    return (
        (start[0] + end[0]) / 2 - side * away * dy / chord,
        (start[1] + end[1]) / 2 + side * away * dx / chord,
    )


def _read_frame(comment: str, place: str) -> tuple[tuple[int, int, int], tuple[int, int, int]]:
    match = _FRAME.fullmatch(comment)
    words = [word.upper() for word in match.groups()] if match else []
    if len({word[-1] for word in words}) != 3:
        refuse(f"the comment {shorten(comment, 40)}", "FRAME x=+X h=+Y n=+Z, three axes", place)
    x, h, n = (_AXES.index(word[-1]) for word in words)
    sign_x, sign_h, sign_n = (-1 if word.startswith("-") else 1 for word in words)
    return (x, h, n), (sign_x, sign_h, sign_n)


def _read_origin(comment: str, place: str) -> Place:
    match = _ORIGIN.fullmatch(comment)
    if match is None or any(abs(float(value)) > LIMIT_PLACE_MM for value in match.groups()):
        refuse(f"the comment {shorten(comment, 40)}", "ORIGIN X0 Y0 Z0", place)
    x, y, z = (float(value) for value in match.groups())
    return (x, y, z)


def _read_point(comment: str, place: str) -> str:
    match = _POINT.fullmatch(comment)
    if match is None or match[1].lower() not in POINTS:
        refuse(f"the comment {shorten(comment, 40)}", "POINT " + " or ".join(POINTS), place)
    return match[1].lower()
