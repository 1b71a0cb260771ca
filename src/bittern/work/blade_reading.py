"""Reading the old key from a picture within a job: begun, kept under seal, looked at, weighed anew, taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from bittern.core.errors import InputError
from bittern.engines.blade.bitting import UNKNOWN
from bittern.engines.blade.caliper import TOLERANCES, Reading
from bittern.engines.blade.measurement import Measurement
from bittern.engines.blade.silhouette import turn_over
from bittern.engines.blade.standard import BladeStandard
from bittern.work.blade import get_standard, keep_bitting, require_ready
from bittern.work.blade_outline import cut_out, find_disagreements
from bittern.work.blade_record import PHOTO, SCAN, BladeReading, mark_reading, read_reading, write_reading
from bittern.work.blade_stages import trace_stages
from bittern.work.change import SEAL_READING, Change, changing
from bittern.work.entry import Entry
from bittern.work.errors import ConflictError, NotYetError
from bittern.work.facts import JobFile
from bittern.work.people import Person, require
from bittern.work.pictures import MOST_KEPT, keep_picture, list_pictures
from bittern.work.ports import Desk
from bittern.work.readings import list_reading_fields, parse_readings

MOST_P_NONE = 0.1
"""Beyond one chance in ten that the blade is of another standard no reason makes up for it."""
LEAST_DPI, MOST_DPI = 50.0, 2400.0
VERSION = "version"


@dataclass(frozen=True, slots=True)
class ReadingOrder:
    """What a picture is to be read with."""

    standard: BladeStandard
    how: str
    dpi: float | None
    keep: bool


def begin_reading(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> ReadingOrder:
    """Record that the old key is read from a picture: fields how (scan or photo), dpi (a scan's), keep.

    An earlier reading that was not taken stays until the new picture has been read.
    """
    entry = Entry(data)
    how = entry.choice("how", (SCAN, PHOTO))
    dpi = take_dpi(entry) if how == SCAN else None
    keep = entry.flag("keep")
    with changing(desk, number, person, "bench") as change:
        standard = require_ready(desk, change)
        if standard.kind != "edge":
            raise NotYetError(
                "a track blade",
                "an edge blade: a groove's offsets are measured",
                where="blade",
                hint="use the caliper",
            )
        kept = len(list_pictures(desk, number)) if keep else 0
        if kept >= MOST_KEPT:
            entry.fault("keep", f"{kept} pictures kept with this job", f"at most {MOST_KEPT}")
        entry.finish()
        change.log("blade.reading-begun", how=how, standard=standard.id)
    return ReadingOrder(standard, how, dpi, keep)


def read_old_key(order: ReadingOrder, raw: bytes, person: Person, desk: Desk) -> BladeReading:
    """Return what a picture says; nothing is kept, and no transaction may be open.

    Raises
    ------
    InputError, PictureError, CardError
        It is no picture, or shows no key that can be measured.
    """
    # Late: cameras, pictures and models take a second to load, and most acts need none of them.
    from bittern.work.blade_picture import read_blade_picture

    dpi, dpi_from = settle_dpi(order.how, order.dpi, raw)
    found = read_blade_picture(raw, (order.standard,), dpi=dpi)
    picture, size, frame = cut_out(found)
    return BladeReading(
        how=order.how,
        read_by=person.login,
        read_at=desk.clock.now(),
        scale_from=f"{dpi:g} dpi {dpi_from}" if dpi is not None else found.flat.scale_from,
        residual_mm=found.flat.residual_mm,
        notes=(*found.flat.notes, *found.silhouette.notes),
        silhouette=found.silhouette,
        heights=(),
        swapped=False,
        measurement=found.measurement,
        picture=picture,
        picture_size=size,
        picture_frame=frame,
        stages=trace_stages(found.stages) if found.stages is not None else (),
    )


def finish_reading(
    desk: Desk, number: int, person: Person, reading: BladeReading, kept: bytes | None = None
) -> None:
    """Keep a reading under seal until its bitting is taken or it is thrown away; ``kept`` is the picture.

    Raises
    ------
    ConflictError
        The job's article takes another blade by now.
    """
    with changing(desk, number, person, "bench") as change:
        _require_same_standard(desk, change, reading)
        desk.store.seal(number, SEAL_READING, write_reading(reading))
        change.log(
            "blade.read",
            standard=reading.measurement.standard,
            scale=reading.scale_from,
            doubts=len(reading.measurement.problems),
        )
    if kept is not None:
        keep_picture(desk, number, person, kept, "blade")


def look_at_reading(desk: Desk, number: int, person: Person, reason: str) -> tuple[BladeReading, str]:
    """Return the reading and its mark; the look is logged with person and reason before the seal opens."""
    require(person, "look")
    entry = Entry({"reason": reason})
    reason = entry.text("reason", required=True, expected="why you look at the reading")
    entry.finish()
    with desk.store.transaction():
        desk.store.load_for_change(number)
        desk.store.append(
            number,
            at=desk.clock.now(),
            person=person.login,
            kind="seal.looked",
            payload={"name": SEAL_READING, "reason": reason},
        )
        text = desk.store.unseal(number, SEAL_READING)
        if text is None:
            # Raised inside, so that no look at nothing stands in the log.
            raise _name_no_reading()
    return read_reading(text, f"job {number}"), mark_reading(text)


def measure_again(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Weigh the reading anew with caliper readings of single cuts: reading-1 …, sd_mm, version.

    A field that is left empty takes back what was measured of its cut before.
    """
    require(person, "bench")
    before, mark = _open(desk, number, data)
    standard = _get_read_standard(desk, desk.store.load(number), before)
    heights = parse_readings(standard, data)
    after = weigh_anew(before, standard, heights, swapped=before.swapped)
    names = dict(enumerate(name for _, name in list_reading_fields(standard)))
    cuts = [names[one.cut] for one in heights if one not in before.heights]
    cuts += [names[one.cut] for one in before.heights if one.cut not in {other.cut for other in heights}]
    _put(desk, number, person, mark, after, "blade.measured-again", cuts=cuts)


def swap_edges(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Take the other edge of a split blade for edge A: field version."""
    require(person, "bench")
    before, mark = _open(desk, number, data)
    standard = _get_read_standard(desk, desk.store.load(number), before)
    if standard.sides != "split":
        raise NotYetError("a blade with one list of cuts", "a split blade, whose edges differ", where="blade")
    count = len(standard.positions_mm)
    # A height was measured at a place of the key in hand, and that place has another name now.
    heights = [replace(one, cut=(one.cut + count) % (2 * count)) for one in before.heights]
    after = weigh_anew(before, standard, heights, swapped=not before.swapped)
    _put(desk, number, person, mark, after, "blade.edges-swapped")


def take_reading(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Seal the bitting that was read: fields version, edges (on a split blade), accept_because (in doubt).

    An unknown cut, a broken rule, or a blade that may well be of another standard is never accepted.
    """
    entry = Entry(data)
    because = entry.text("accept_because", limit=500)
    with changing(desk, number, person, "bench") as change:
        reading, _ = _open(desk, number, data)
        standard = _require_same_standard(desk, change, reading)
        found = reading.measurement
        for name, what, expected in find_obstacles(found):
            entry.fault(name, what, expected)
        if standard.sides == "split" and not entry.flag("edges"):
            entry.fault("edges", "not ticked", "a look at the key: turned over, its edges change places")
        doubts = list_doubts(found)
        if doubts and not because:
            expected = "a second measurement, or the reason why this reading is believed"
            entry.fault("accept_because", f"nothing, and {doubts[0]}", expected)
        entry.finish()
        keep_bitting(desk, change, standard, found.bitting, "read", doubts, because if doubts else "")


def drop_reading(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Throw the reading away, with its picture."""
    with changing(desk, number, person, "bench") as change:
        if desk.store.drop_seal(number, SEAL_READING):
            change.log("blade.reading-dropped")


def find_obstacles(found: Measurement) -> Sequence[tuple[str, str, str]]:
    """Return what no reason can overcome: field, what was found, what was expected."""
    unknown = [cut.name for cut in found.cuts if cut.label == UNKNOWN]
    obstacles = []
    if unknown:
        obstacles.append(("reading", f"no depth at cut {', '.join(unknown)}", "one at every cut"))
    elif not found.allowed:
        obstacles.append(("reading", "a bitting that the standard's rules forbid", "one that they allow"))
    if found.p_none > MOST_P_NONE:
        obstacles.append(
            (
                "reading",
                f"a chance of {found.p_none:.2f} that the blade is of another standard",
                f"at most {MOST_P_NONE:g}",
            )
        )
    return obstacles


def list_doubts(found: Measurement) -> tuple[str, ...]:
    """Return why the reading is taken only with a reason; nothing where none is needed."""
    if found.problems or found.probability >= TOLERANCES.bar:
        return found.problems
    return (f"the whole bitting is sure to {found.probability:.3f} only",)


def weigh_anew(
    before: BladeReading, standard: BladeStandard, heights: Sequence[Reading], *, swapped: bool
) -> BladeReading:
    """Return the reading with other caliper readings, or with its edges exchanged."""
    from bittern.engines.blade.decoding import decode_silhouette

    outline = turn_over(before.silhouette) if swapped else before.silhouette
    found = decode_silhouette(outline, (standard,), tuple(heights))
    apart = find_disagreements(standard, found, heights)
    found = replace(found, problems=(*found.problems, *apart))
    return replace(before, heights=tuple(heights), swapped=swapped, measurement=found)


def settle_dpi(how: str, typed: float | None, raw: bytes) -> tuple[float | None, str]:
    """Return a scan's resolution and where it is from; a photo has none."""
    if how == SCAN and typed is None:
        return _find_dpi(raw), "from the file"
    return typed, "as typed"


def _find_dpi(raw: bytes) -> float:
    """Return the resolution that a scan's file states; without one a photo would be read as a scan."""
    from bittern.formats.images import decode_picture, read_dpi

    dpi = read_dpi(raw)
    if dpi is None:
        # What is no picture at all is said first.
        decode_picture(raw, "the picture")
        raise InputError(
            "a file that does not say its dots per inch",
            "a scan that does, or the number typed beside it",
            where="dpi",
            hint="look it up in the scanner's settings; a photo is read on the measuring card",
        )
    if not LEAST_DPI <= dpi <= MOST_DPI:
        raise InputError(
            f"{dpi:g} dots per inch in the file", f"{LEAST_DPI:g} to {MOST_DPI:g}, 600 best", where="dpi"
        )
    return dpi


def take_dpi(entry: Entry) -> float | None:
    """Take the field dpi; None where it is left to the file."""
    text = entry.text("dpi", limit=12)
    if not text:
        return None
    try:
        dpi = float(text.replace(",", "."))
    except ValueError:
        dpi = 0.0
    if not LEAST_DPI <= dpi <= MOST_DPI:
        entry.fault("dpi", text, f"the scanner's pixels per inch, {LEAST_DPI:g} to {MOST_DPI:g}, such as 600")
        return None
    return dpi


def _open(desk: Desk, number: int, data: Mapping[str, object]) -> tuple[BladeReading, str]:
    """Return the reading for the program's own use; nobody sees it without :func:`look_at_reading`."""
    text = desk.store.unseal(number, SEAL_READING)
    if text is None:
        raise _name_no_reading()
    mark = mark_reading(text)
    seen = data.get(VERSION)
    if seen and seen != mark:
        raise ConflictError(
            "a reading that was changed since this page was read",
            "a look at what it says now",
            where=f"job {number}",
        )
    return read_reading(text, f"job {number}"), mark


def _put(
    desk: Desk, number: int, person: Person, mark: str, reading: BladeReading, kind: str, **payload: object
) -> None:
    """Keep a reading that was weighed anew, unless somebody changed it meanwhile."""
    with changing(desk, number, person, "bench") as change:
        _open(desk, number, {VERSION: mark})
        _require_same_standard(desk, change, reading)
        desk.store.seal(number, SEAL_READING, write_reading(reading))
        change.log(kind, **payload)


def _get_read_standard(desk: Desk, job: JobFile, reading: BladeReading) -> BladeStandard:
    standard = get_standard(desk, job)
    if standard.id != reading.measurement.standard:
        raise ConflictError(
            f"a reading as {reading.measurement.standard}, and an article that takes {standard.id} by now",
            "a reading as the standard of the article",
            where="blade",
            hint="throw this reading away and read the picture again",
        )
    return standard


def _require_same_standard(desk: Desk, change: Change, reading: BladeReading) -> BladeStandard:
    require_ready(desk, change)
    return _get_read_standard(desk, change.job, reading)


def _name_no_reading() -> NotYetError:
    return NotYetError("no reading of the old key", "a picture of it read first", where="blade")
