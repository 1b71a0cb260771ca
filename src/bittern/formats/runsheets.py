"""Run sheets as TOML: one file, one pairing procedure.

What is checked here is the form: TOML, the right types, known kinds, chances between 0 and 1, no id twice.
Whether the procedure makes sense (does every path end, can its windows be met) is the engine's question, see
:func:`bittern.engines.pairing.check.find_sheet_faults`; a dangling ``then`` is read without complaint here.
Keys that are not known are left alone: a later version may add some.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

from bittern.core.errors import Fault, FaultsError, InputError, shorten
from bittern.engines.pairing.event import MOST_VOLTS
from bittern.engines.pairing.sheet import (
    CENSUSES,
    OUTCOMES,
    SIGNAL_KINDS,
    STEP_KINDS,
    Failure,
    Option,
    RunSheet,
    Signal,
    Step,
    SupplyNeed,
)
from bittern.formats.texts import TEXT_LIMIT_BYTES, read_text
from bittern.formats.toml_files import check_key_depth

MAX_BYTES = TEXT_LIMIT_BYTES
# A procedure that a person walks has tens of steps. The limits keep a hostile file from holding up the shop.
MAX_STEPS = 200
MAX_TIME_S = 7 * 24 * 3600.0
MAX_SIGNALS = 100

_SHEET_KEYS = ("id", "title", "start", "needs", "census", "step")


def read_runsheet(path: str | Path) -> RunSheet:
    """Return the run sheet in the file ``path``.

    Raises
    ------
    InputError
        The file is missing, larger than 5 MB, not text, not TOML, or no run sheet at all.
    FaultsError
        It is a run sheet and breaks the form; every fault is listed.
    """
    path = Path(path)
    return parse_runsheet(read_text(path, limit_bytes=MAX_BYTES), file=path.name)


def parse_runsheet(text: str, file: str = "") -> RunSheet:
    """Return the run sheet written in ``text``.

    Parameters
    ----------
    text
        TOML as ``formats`` fixes it.
    file
        Name to show in faults.

    Raises
    ------
    InputError
        ``text`` is over 5 MB, is not TOML, or has none of a run sheet's keys.
    FaultsError
        The form is broken: wrong types, missing keys, unknown kinds, chances outside 0 to 1, an id twice.
    """
    if len(text) > MAX_BYTES or len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise InputError("a text over 5 MB", "a run sheet of at most 5 MB", where=file)
    if "\x00" in text:
        raise InputError("binary data", "a TOML file", where=file)
    check_key_depth(text, file)
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # ValueError and not TOMLDecodeError alone: numbers of thousands of digits end there too.
        found = (
            f"text that is not TOML: {error}" if isinstance(error, ValueError) else "TOML nested too deeply"
        )
        raise InputError(found, "a TOML file", where=file) from error
    if not any(key in document for key in _SHEET_KEYS[2:]):
        raise InputError(
            "TOML with none of a run sheet's keys", "a run sheet with start, census and [[step]]", where=file
        )
    faults: list[Fault] = []
    sheet = _read_sheet(_Table(document, "", file, faults))
    if faults:
        raise FaultsError(faults, where=file)
    return sheet


def write_runsheet(sheet: RunSheet) -> str:
    """Return ``sheet`` as TOML that :func:`parse_runsheet` reads back to the same sheet."""
    import tomli_w

    document: dict[str, object] = {"id": sheet.id, "title": sheet.title, "start": sheet.start}
    document |= {"needs": list(sheet.needs), "census": sheet.census}
    if sheet.supply is not None:
        document["supply"] = {"least_v": sheet.supply.least_v, "comfort_v": sheet.supply.comfort_v}
    document["step"] = [_write_step(step) for step in sheet.steps.values()]
    return tomli_w.dumps(document)


class _Table:
    """One TOML table that takes note of every fault instead of stopping at the first."""

    def __init__(self, values: Mapping[str, object], where: str, file: str, faults: list[Fault]) -> None:
        self.values = values
        self.where = where
        self.file = file
        self.faults = faults

    def blame(self, key: str, found: str, expected: str) -> None:
        where = f"{self.where}.{key}" if self.where and key else self.where or key
        self.faults.append(Fault(where, found, expected, self.file))

    def text(self, key: str, *, required: bool = False) -> str:
        value = self.values.get(key)
        if value is None:
            if required:
                self.blame(key, "nothing", "a text")
            return ""
        if not isinstance(value, str):
            self.blame(key, shorten(value), "a text")
            return ""
        if required and not value.strip():
            self.blame(key, "an empty text", "a text")
        return value

    def word(self, key: str, words: Sequence[str], *, required: bool = True) -> str:
        value = self.text(key, required=required)
        if value and value not in words:
            self.blame(key, shorten(value), "one of " + ", ".join(words))
            return ""
        return value

    def number(self, key: str, low: float, high: float) -> float | None:
        value = self.values.get(key)
        if value is None:
            return None
        span = f"a number from {low:g} to {high:g}"
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.blame(key, shorten(value), span)
            return None
        # An integer is compared before it becomes a float: a huge one would overflow.
        if (isinstance(value, float) and not math.isfinite(value)) or not low <= value <= high:
            self.blame(key, shorten(value), span)
            return None
        return float(value)

    def flag(self, key: str) -> bool:
        value = self.values.get(key, False)
        if not isinstance(value, bool):
            self.blame(key, shorten(value), "true or false")
            return False
        return value

    def table(self, key: str) -> _Table | None:
        value = self.values.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.blame(key, shorten(value), "a table")
            return None
        return _Table(value, f"{self.where}.{key}" if self.where else key, self.file, self.faults)

    def tables(self, key: str) -> list[_Table]:
        value = self.values.get(key, [])
        if not isinstance(value, list):
            self.blame(key, shorten(value), "a list of tables")
            return []
        found: list[_Table] = []
        for number, item in enumerate(value, start=1):
            place = f"{key} {number}"
            if isinstance(item, dict):
                where = f"{self.where}.{place}" if self.where else place
                found.append(_Table(item, where, self.file, self.faults))
            else:
                self.blame(place, shorten(item), "a table")
        return found

    def words(self, key: str) -> tuple[str, ...]:
        value = self.values.get(key, [])
        if not isinstance(value, list):
            self.blame(key, shorten(value), "a list of words")
            return ()
        found: list[str] = []
        for number, item in enumerate(value, start=1):
            if not isinstance(item, str) or not item.strip():
                self.blame(f"{key} {number}", shorten(item), "a word")
            elif item in found:
                self.blame(f"{key} {number}", shorten(item) + " again", "each word once")
            else:
                found.append(item)
        return tuple(found)


def _read_sheet(top: _Table) -> RunSheet:
    steps: dict[str, Step] = {}
    tables = top.tables("step")
    if len(tables) > MAX_STEPS:
        top.blame("step", f"{len(tables)} steps", f"at most {MAX_STEPS} steps")
        tables = tables[:MAX_STEPS]
    elif not tables:
        top.blame("step", "no step", "at least one [[step]]")
    for table in tables:
        step_id = table.text("id", required=True)
        if step_id:
            # From here on the step's own name says where a fault is, rather than its number.
            table.where = step_id
        step = _read_step(step_id, table)
        if step_id in steps:
            table.blame("", f"a second step named {shorten(step_id)}", "every id once")
        elif step_id:
            steps[step_id] = step
    return RunSheet(
        id=top.text("id", required=True),
        title=top.text("title", required=True),
        start=top.text("start", required=True),
        census=top.word("census", CENSUSES),
        needs=top.words("needs"),
        steps=steps,
        supply=_read_supply(top.table("supply")),
    )


def _read_supply(table: _Table | None) -> SupplyNeed | None:
    if table is None:
        return None
    usual = SupplyNeed()
    least_v = table.number("least_v", 1.0, MOST_VOLTS)
    comfort_v = table.number("comfort_v", 1.0, MOST_VOLTS)
    if least_v is None:
        least_v = min(usual.least_v, comfort_v or usual.least_v)
    if comfort_v is None:
        comfort_v = max(usual.comfort_v, least_v)
    if comfort_v < least_v:
        table.blame("comfort_v", f"{comfort_v:g}", f"at least least_v = {least_v:g}")
    return SupplyNeed(least_v, comfort_v)


def _read_step(step_id: str, table: _Table) -> Step:
    kind = table.word("kind", STEP_KINDS)
    typical_s = table.number("typical_s", 0.0, MAX_TIME_S) or 0.0
    slowest_s = table.number("slowest_s", 0.0, MAX_TIME_S)
    return Step(
        id=step_id,
        kind=kind,
        say=table.text("say"),
        typical_s=typical_s,
        slowest_s=typical_s if slowest_s is None else slowest_s,
        then=table.text("then"),
        options=tuple(
            Option(
                option.text("label", required=True),
                option.text("then"),
                option.number("chance", 0.0, 1.0),
            )
            for option in table.tables("options")
        ),
        outcome=table.word("outcome", OUTCOMES, required=False),
        fails=tuple(_read_failure(failure) for failure in table.tables("fails")),
        signal=_read_signal(table.table("signal")),
        window_s=table.number("window_s", 0.0, MAX_TIME_S),
        no_return=table.flag("no_return"),
        recovery=table.text("recovery"),
    )


def _read_failure(table: _Table) -> Failure:
    chance = table.number("chance", 0.0, 1.0)
    if "chance" not in table.values:
        table.blame("chance", "nothing", "a number from 0 to 1")
    return Failure(table.text("to"), chance or 0.0, table.text("because"))


def _read_signal(table: _Table | None) -> Signal | None:
    if table is None:
        return None
    count = table.values.get("count", 1)
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= MAX_SIGNALS:
        table.blame("count", shorten(count), f"a whole number from 1 to {MAX_SIGNALS}")
        count = 1
    return Signal(table.word("kind", SIGNAL_KINDS), count, table.text("text"))


def _write_step(step: Step) -> dict[str, object]:
    table: dict[str, object] = {"id": step.id, "kind": step.kind}
    if step.say:
        table["say"] = step.say
    if step.typical_s or step.slowest_s:
        table |= {"typical_s": step.typical_s, "slowest_s": step.slowest_s}
    table |= {key: text for key in ("then", "outcome", "recovery") if (text := getattr(step, key))}
    if step.options:
        table["options"] = [_write_option(option) for option in step.options]
    if step.fails:
        table["fails"] = [_write_failure(failure) for failure in step.fails]
    if step.signal:
        signal: dict[str, object] = {"kind": step.signal.kind, "count": step.signal.count}
        table["signal"] = signal | ({"text": step.signal.text} if step.signal.text else {})
    if step.window_s is not None:
        table["window_s"] = step.window_s
    if step.no_return:
        table["no_return"] = True
    return table


def _write_option(option: Option) -> dict[str, object]:
    table: dict[str, object] = {"label": option.label, "then": option.then}
    return table if option.chance is None else table | {"chance": option.chance}


def _write_failure(failure: Failure) -> dict[str, object]:
    table: dict[str, object] = {"to": failure.to, "chance": failure.chance}
    return table | {"because": failure.because} if failure.because else table
