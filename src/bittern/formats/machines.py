"""Machine profiles: ``<id>.toml``, one cutting machine each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from bittern.core.errors import Fault, FaultsError
from bittern.engines.cutting.machine import AXES, LEAST_CLEAR_MM, Machine
from bittern.formats.texts import read_text
from bittern.formats.toml_files import TomlTable, parse_toml, to_number

USUAL: Final = Machine()
LEAST_DECIMALS: Final = 3
MOST_DECIMALS: Final = 6
FLAGS: Final = ("arcs", "percent", "coolant", "line_numbers")


def parse_machine(text: str, file: str) -> Machine:
    """Return the machine written in ``text``; what a profile does not say is as in ``Machine``.

    Raises
    ------
    InputError
        The text is not TOML.
    FaultsError
        A key is of the wrong type, unknown or out of its limits; all faults are listed.
    """
    faults: list[Fault] = []
    top = TomlTable(parse_toml(text, file), file, faults)
    _refuse_others(top, ("id", "title", "frame", "travel", "spindle", "motion", "words"))
    frame, travel, spindle, motion, words = (
        _get_table(top, name) for name in ("frame", "travel", "spindle", "motion", "words")
    )
    axes, signs = _read_axes(frame)
    machine = Machine(
        id=top.identifier("id"),
        title=top.text("title", default=""),
        axes=axes,
        signs=signs,
        origin_mm=_read_origin(frame),
        travel_mm=_read_travel(travel),
        slowest_rpm=_get_number(spindle, "slowest", USUAL.slowest_rpm),
        fastest_rpm=_get_number(spindle, "fastest", USUAL.fastest_rpm),
        feed_mm_min=_get_number(motion, "feed", USUAL.feed_mm_min),
        rapid_mm_min=_get_number(motion, "rapid", USUAL.rapid_mm_min),
        acceleration_mm_s2=_get_number(motion, "acceleration", USUAL.acceleration_mm_s2),
        clear_mm=_get_number(motion, "clear", USUAL.clear_mm),
        decimals=words.whole("decimals", least=LEAST_DECIMALS)
        if "decimals" in words.data
        else USUAL.decimals,
        **{name: _get_flag(words, name) for name in FLAGS},
    )
    _refuse_others(spindle, ("slowest", "fastest"))
    _refuse_others(motion, ("feed", "rapid", "acceleration", "clear"))
    _refuse_others(words, ("decimals", *FLAGS))
    if machine.slowest_rpm > machine.fastest_rpm:
        spindle.note("slowest", f"{machine.slowest_rpm:g}", f"at most fastest, {machine.fastest_rpm:g}")
    if machine.clear_mm < LEAST_CLEAR_MM:
        motion.note("clear", f"{machine.clear_mm:g}", f"at least {LEAST_CLEAR_MM:g} mm")
    if machine.decimals > MOST_DECIMALS:
        words.note("decimals", f"{machine.decimals}", f"{LEAST_DECIMALS} to {MOST_DECIMALS}")
    if faults:
        raise FaultsError(faults)
    return machine


def read_machine(path: Path) -> Machine:
    """Return the machine in the file at ``path``; errors as :func:`parse_machine`."""
    return parse_machine(read_text(path), path.name)


def format_machine(machine: Machine) -> str:
    """Return ``machine`` as TOML that :func:`parse_machine` reads back the same."""
    import tomli_w

    names = [
        f"{'+' if sign > 0 else '-'}{AXES[axis]}"
        for axis, sign in zip(machine.axes, machine.signs, strict=True)
    ]
    limits = zip(AXES, machine.travel_mm, strict=True)
    table: dict[str, object] = {
        "id": machine.id,
        **({"title": machine.title} if machine.title else {}),
        "frame": {**dict(zip("xhn", names, strict=True)), "origin": list(machine.origin_mm)},
        "travel": {axis: list(pair) for axis, pair in limits if pair is not None},
        "spindle": {"slowest": machine.slowest_rpm, "fastest": machine.fastest_rpm},
        "motion": {
            "feed": machine.feed_mm_min,
            "rapid": machine.rapid_mm_min,
            "acceleration": machine.acceleration_mm_s2,
            "clear": machine.clear_mm,
        },
        "words": {"decimals": machine.decimals, **{name: getattr(machine, name) for name in FLAGS}},
    }
    return tomli_w.dumps(table)


def _get_table(top: TomlTable, name: str) -> TomlTable:
    """Return a table that may be missing."""
    return top.table(name) if name in top.data else TomlTable({}, top.file, top.faults, name)


def _refuse_others(table: TomlTable, known: Sequence[str]) -> None:
    """Note keys that are not understood: one mistyped would silently leave a limit as it usually is."""
    for key in table.data:
        if key not in known:
            table.note(key, "an unknown key", " or ".join(known))


def _get_number(table: TomlTable, key: str, usual: float) -> float:
    return table.number(key) if key in table.data else usual


def _get_flag(table: TomlTable, key: str) -> bool:
    value = table.data.get(key, getattr(USUAL, key))
    if not isinstance(value, bool):
        table.note(key, str(value), "true or false")
        return False
    return value


def _read_axes(frame: TomlTable) -> tuple[tuple[int, int, int], tuple[int, int, int]]:
    """Return axis and sign of x, h and n."""
    _refuse_others(frame, ("x", "h", "n", "origin"))
    words = [sign + axis for axis in AXES for sign in "+-"]
    usual = dict(zip("xhn", ("+X", "+Y", "+Z"), strict=True))
    x, h, n = (frame.choice(name, words, default=usual[name]) for name in "xhn")
    axes = (AXES.index(x[1]), AXES.index(h[1]), AXES.index(n[1]))
    signs = tuple(1 if word[0] == "+" else -1 for word in (x, h, n))
    if len(set(axes)) < 3:
        frame.note("x, h, n", f"{x}, {h}, {n}", "three different axes")
    elif _get_handedness(axes, (signs[0], signs[1], signs[2])) < 0:
        # A mirrored frame would cut a mirrored key: a machine's axes are right-handed (ISO 841), as x, h, n.
        frame.note("x, h, n", f"{x}, {h}, {n}", "a right-handed frame: turn the sign of one of them")
    return axes, (signs[0], signs[1], signs[2])


def _get_handedness(axes: tuple[int, int, int], signs: tuple[int, int, int]) -> int:
    even = axes in ((0, 1, 2), (1, 2, 0), (2, 0, 1))
    return signs[0] * signs[1] * signs[2] * (1 if even else -1)


def _read_origin(frame: TomlTable) -> tuple[float, float, float]:
    if "origin" not in frame.data:
        return USUAL.origin_mm
    values = frame.numbers("origin")
    if len(values) != 3:
        frame.note("origin", f"{len(values)} numbers", "three: X, Y and Z in mm")
        return USUAL.origin_mm
    return (values[0], values[1], values[2])


def _read_travel(travel: TomlTable) -> tuple[tuple[float, float] | None, ...]:
    """Return the lowest and highest place of X, Y and Z."""
    _refuse_others(travel, tuple(AXES))
    limits: list[tuple[float, float] | None] = []
    for axis in AXES:
        value = travel.data.get(axis)
        pair = [to_number(item) for item in value] if isinstance(value, list) else []
        if axis in travel.data and (len(pair) != 2 or pair[0] is None or pair[1] is None):
            travel.note(axis, str(value), "two numbers, the lowest and the highest place in mm")
        elif pair and pair[0] is not None and pair[1] is not None:
            if pair[0] >= pair[1]:
                travel.note(axis, str(value), "the lowest place first")
            limits.append((pair[0], pair[1]))
            continue
        limits.append(None)
    return tuple(limits)
