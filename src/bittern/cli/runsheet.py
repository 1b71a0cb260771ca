"""``bittern runsheet``: check a pairing procedure, and walk one without a vehicle."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from bittern.cli.output import JsonOption, NoAnswer, emit, tell
from bittern.cli.runsheet_check import describe_check, print_check
from bittern.core.errors import BitternError, Fault, FaultsError, InputError, shorten

if TYPE_CHECKING:
    from bittern.engines.pairing.census import KeyInHand
    from bittern.engines.pairing.event import RunEvent, RunState
    from bittern.engines.pairing.sheet import RunSheet, Step

app = typer.Typer(no_args_is_help=True, help="Check and rehearse pairing procedures.")

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The run sheet, a TOML file.")]


@app.command("check")
def check_command(file: FileArgument, as_json: JsonOption = False) -> None:
    """Find what is wrong with a run sheet, and compute how it will end and how long it takes."""
    from bittern.engines.pairing.check import find_sheet_cautions, find_sheet_faults
    from bittern.formats.runsheets import read_runsheet

    try:
        sheet = read_runsheet(file)
    except FaultsError as error:
        data = describe_check(None, list(error.faults), [])
    else:
        faults = [Fault(one.where, one.found, one.expected, file.name) for one in find_sheet_faults(sheet)]
        data = describe_check(sheet, faults, find_sheet_cautions(sheet))
    emit(data, as_json=as_json, text=lambda: print_check(data))
    if not data["ok"]:
        raise NoAnswer


@app.command("rehearse")
def rehearse_command(
    file: FileArgument,
    script: Annotated[
        Path | None,
        typer.Option("--script", metavar="F", help="Take the answers from this file, one a line."),
    ] = None,
    vehicle: Annotated[bool, typer.Option("--vehicle", help="Put a simulated vehicle behind it.")] = False,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", min=0, max=2**31 - 1, help="Which vehicle it is.")
    ] = 0,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="NAME", help="What goes wrong at the vehicle; may be given again."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Walk a run sheet at the desk, by your own answers, with the same rules as at the vehicle.

    Without --vehicle whether a step works is what you say. The answers are: yes (the needs are true); a key
    as "name, here|away, works|dead|unknown, new|old", and "enough" after the last; "supply 12.6" whenever the
    voltage is read; the step's id before a point of no return; then done, "fails 1", an option's number, or
    stop. In a script an empty line and one that begins with # are skipped, and every step takes its typical
    time.

    With --vehicle there are also do, look, meter, "connect supply", "remove supply", "open door", "close
    doors", "fetch" with a key's name, and count for the keys that lie there; the rehearsal is scored, and 1
    is the exit code where it is no success. Faults: low-supply, key-at-home, cable-pulled, signal-missed,
    wrong-article. In a script every answer takes two seconds.
    """
    from bittern.engines.pairing.check import find_sheet_faults
    from bittern.formats.runsheets import read_runsheet

    if (seed or fault) and not vehicle:
        raise InputError("--seed or --fault by itself", "--vehicle with it", where="rehearse")
    try:
        sheet = read_runsheet(file)
        faults = find_sheet_faults(sheet)
    except FaultsError as error:
        faults = list(error.faults)
    if faults:
        _refuse(faults, as_json=as_json)
        raise NoAnswer
    answers = _read_script(script) if script else _read_terminal()
    if vehicle:
        from bittern.cli.runsheet_vehicle import rehearse_with_vehicle

        asked = {"scripted": script is not None, "as_json": as_json}
        rehearse_with_vehicle(sheet, answers, seed=seed, faults=fault or [], **asked)
        return
    walk = Walk(sheet, answers, tell, scripted=script is not None)
    state = walk.run()
    data = describe_walk(walk, state)
    emit(data, as_json=as_json, text=lambda: print_walk(walk, state))
    if state.outcome != "good":
        raise NoAnswer


def _refuse(faults: Sequence[Fault], *, as_json: bool) -> None:
    """Say why a sheet cannot be rehearsed."""
    data: dict[str, object] = {"ok": False, "faults": [fault.as_dict() for fault in faults]}
    data |= {"outcome": None, "ended": False, "events": []}
    emit(data, as_json=as_json, text=lambda: "\n".join(f"fault: {fault}" for fault in faults))


class Walk:
    """One rehearsal: asks, turns the answers into events, and lets the runner decide.

    Parameters
    ----------
    sheet
        A run sheet without faults.
    answers
        Pairs of a place (for messages) and an answer.
    say
        Prints one line for the person.
    scripted
        An answer that does not fit ends the rehearsal instead of being asked for again, and time is reckoned.
    """

    headline = "a rehearsal by your own answers, no vehicle behind it."

    def __init__(
        self,
        sheet: RunSheet,
        answers: Iterator[tuple[str, str]],
        say: Callable[[str], None],
        *,
        scripted: bool,
    ) -> None:
        from bittern.engines.pairing.runner import start_run

        self.sheet = sheet
        self.answers = answers
        self.say = say
        self.scripted = scripted
        self.state: RunState = start_run(sheet)
        self.events: list[RunEvent] = []
        self.keys: list[KeyInHand] = []
        self.at = datetime(2000, 1, 1, tzinfo=UTC)

    def run(self) -> RunState:
        """Walk until the run is over or the answers are, and return where it stands."""
        self.say(f"{self.sheet.title}: {self.headline}")
        while not self.state.ended:
            self._ask()
            place, answer = next(self.answers, ("", None))
            if answer is None:
                self.say("The answers end here; the run does not.")
                break
            try:
                self._take(answer)
            except BitternError as error:
                if self.scripted:
                    found, expected = error.found, error.expected
                    raise InputError(found, expected, where=place or error.where, hint=error.hint) from error
                self.say(f"  {error}")
        if self.scripted and self.state.ended:
            place, answer = next(self.answers, ("", None))
            if answer is not None:
                raise InputError(shorten(answer), "no more answers once the run has ended", where=place)
        return self.state

    @property
    def _counting(self) -> bool:
        """Whether the keys are to be counted now: before the first step, not while a window runs down."""
        ahead = any(step.no_return for step in self.sheet.steps.values())
        first = self.state.phase in ("confirm", "step") and not self.state.history
        return self.state.phase == "census" or (
            first and ahead and (self.state.keys is None or bool(self.state.census_gaps))
        )

    def _ask(self) -> None:
        from bittern.engines.pairing.census import find_lost_keys, word_need

        step = self.sheet.steps[self.state.step_id]
        if self.state.phase == "needs":
            self.say("Before the first step, is all of this true? (yes)")
            for need in self.sheet.needs:
                self.say(f"  - {word_need(need)}")
        elif self._counting:
            if not self.keys:
                self.say("There is a point of no return ahead: which keys does the vehicle have?")
                self.say('  (name, here|away, works|dead|unknown, new|old; "enough" after the last)')
        elif self.state.phase == "supply":
            least_v = self.sheet.supply.least_v if self.sheet.supply else 0.0
            self.say("There is a point of no return ahead: read the supply voltage at the battery.")
            self.say(f"  supply VOLTS, at least {least_v:g}, or stop")
        elif self.state.phase == "confirm":
            self.say(f"{step.id} cannot be taken back: {step.say}")
            lost = find_lost_keys(self.sheet, self.state.keys or ())
            self.say(f"  Keys that will stop working: {', '.join(lost) or 'none of the census'}.")
            self.say(f"  Write {step.id} to go on, or stop.")
        else:
            self._show_step(step)

    def _show_step(self, step: Step) -> None:
        self.say(f"[{step.id}] {step.say}")
        if step.window_s is not None:
            self.say(f"  within {step.window_s:g} s of the step before")
        if step.signal:
            text = f" “{step.signal.text}”" if step.signal.text else ""
            self.say(f"  the vehicle answers: {step.signal.kind} x {step.signal.count}{text}")
        for number, option in enumerate(step.options, start=1):
            self.say(f"  {number}: {option.label}")
        if step.kind != "choose":
            self.say("  done")
        for number, failure in enumerate(step.fails, start=1):
            self.say(f"  fails {number}: {failure.because or 'it did not work'}")

    def _take(self, answer: str) -> None:
        phase, step = self.state.phase, self.sheet.steps[self.state.step_id]
        if answer == "stop":
            self._add("abandoned")
        elif phase == "needs":
            self._expect(answer, "yes")
            self._add("begun", needs=self.sheet.needs)
        elif answer.startswith("supply "):
            self._add("supply", volts=_read_volts(answer.removeprefix("supply ")), source="typed")
        elif self._counting:
            self._take_key(answer)
        elif phase == "supply":
            raise InputError(shorten(answer), "supply and a number of volts, or stop")
        elif phase == "confirm":
            self._expect(answer, step.id)
            self._add("confirmed", step=step.id, visit=self.state.visit)
        else:
            self._leave(step, answer)

    def _take_key(self, answer: str) -> None:
        if answer == "enough":
            keys, self.keys = tuple(self.keys), []
            self._add("census", keys=keys)
            for gap in self.state.census_gaps:
                self.say(f"  {gap} The point of no return stays closed.")
            return
        self.keys.append(_read_key(answer))

    def _leave(self, step: Step, answer: str) -> None:
        at = {"step": step.id, "visit": self.state.visit}
        word, _, number = answer.partition(" ")
        if word == "fails" and step.fails:
            failure = step.fails[_read_number(number or "1", len(step.fails))]
            self._add("failed", to=failure.to, note=failure.because, **at)
        elif step.kind == "choose":
            self._add("chosen", choice=step.options[_read_number(answer, len(step.options))].label, **at)
        else:
            self._expect(answer, "done")
            self._add("done", **at)

    def _expect(self, answer: str, expected: str) -> None:
        if answer != expected:
            raise InputError(shorten(answer), f"{expected!r} or 'stop'", where=self.state.step_id)

    def _add(self, kind: str, **details: object) -> None:
        from bittern.engines.pairing.event import RunEvent
        from bittern.engines.pairing.runner import apply_event

        self._tick(kind)
        event = RunEvent(str(len(self.events) + 1), kind, "rehearsal", self.at, **details)  # type: ignore[arg-type]
        self.state = apply_event(self.sheet, self.state, event)
        self.events.append(event)

    def _tick(self, kind: str) -> None:
        if not self.scripted:
            self.at = datetime.now(UTC)
        elif kind in ("done", "failed", "chosen"):
            self.at += timedelta(seconds=self.sheet.steps[self.state.step_id].typical_s)


def _read_number(text: str, count: int) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 4 and 1 <= int(text) <= count):
        raise InputError(shorten(text), f"a number from 1 to {count}")
    return int(text) - 1


def _read_volts(text: str) -> float:
    from bittern.engines.pairing.event import MOST_VOLTS

    try:
        volts = float(text)
    except ValueError:
        volts = -1.0
    if not 0.0 <= volts <= MOST_VOLTS:
        raise InputError(shorten(text), f"volts from 0 to {MOST_VOLTS:g}")
    return volts


def _read_key(answer: str) -> KeyInHand:
    from bittern.engines.pairing.census import KeyInHand

    parts = [part.strip() for part in answer.split(",")]
    works = {"works": True, "dead": False, "unknown": None}
    name, here, state, age = parts if len(parts) == 4 else ("", "", "", "")
    if not name or here not in ("here", "away") or state not in works or age not in ("new", "old"):
        raise InputError(shorten(answer), "name, here|away, works|dead|unknown, new|old")
    return KeyInHand(name, here == "here", works[state], age == "new")


def _read_script(path: Path) -> Iterator[tuple[str, str]]:
    """Return places and answers; the file is read at once, before the rehearsal says a word."""
    from bittern.formats.texts import read_text

    lines = enumerate(read_text(path).splitlines(), start=1)
    return (
        (f"{path.name}: line {number}", line.strip())
        for number, line in lines
        if line.strip() and not line.lstrip().startswith("#")
    )


def _read_terminal() -> Iterator[tuple[str, str]]:
    for line in sys.stdin:
        yield "", line.strip()


def describe_walk(walk: Walk, state: RunState) -> dict[str, object]:
    from bittern.engines.pairing.census import predict_as_it_stands

    outlook = predict_as_it_stands(walk.sheet, state)
    return {
        "ok": True,
        "faults": [],
        "ended": state.ended,
        "outcome": state.outcome or None,
        "step": state.step_id,
        "passed_no_return": state.passed_no_return,
        "late": [{"step": one.step_id, "late_s": one.late_s} for one in state.history if one.late_s > 0],
        "keys": [{"name": one.name, "works": one.works, "because": one.because} for one in outlook],
        "events": [event.as_dict() for event in walk.events],
    }


def print_walk(walk: Walk, state: RunState) -> str:
    end = walk.sheet.steps[state.step_id]
    lines = [
        f"ended: {state.outcome}. {end.say}" if state.outcome else f"not ended; stands at {state.step_id}"
    ]
    if end.recovery:
        lines.append(f"recovery: {end.recovery}")
    data = describe_walk(walk, state)
    keys, events = data["keys"], data["events"]
    assert isinstance(keys, list) and isinstance(events, list)
    words = {True: "should work", False: "will not work", None: "must be tried"}
    lines += [f"key {key['name']}: {words[key['works']]}. {key['because']}" for key in keys]
    for event in events:
        rest = [str(event[name]) for name in ("step", "choice", "to") if name in event]
        lines.append(f"  {event['event_id']:>3} {event['kind']:<10} {' > '.join(rest)}")
    return "\n".join(lines)
