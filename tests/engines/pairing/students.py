"""People who rehearse: they see the signs of the simulated vehicle and nothing that it hides."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.runner import apply_event, start_run
from bittern.engines.pairing.scoring import Score, score_rehearsal
from bittern.engines.pairing.sheet import RunSheet, Step
from bittern.engines.pairing.vehicle import count_keys, respond, tell_supply
from bittern.engines.pairing.vehicle_deed import AS_IT_SAYS, DID_NOT_WORK, FREE_CHOICE, NOTHING_SEEN
from bittern.engines.pairing.vehicle_faults import find_need, gives_up
from bittern.engines.pairing.vehicle_state import Deed, Sign, Vehicle

NOON = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
MOST_ACTS = 400


class Student:
    """Does everything right, as far as the signs say what is right."""

    pace_s = 2.0

    def __init__(self, sheet: RunSheet, vehicle: Vehicle) -> None:
        self.sheet, self.vehicle = sheet, vehicle
        self.state = start_run(sheet)
        self.events: list[RunEvent] = []
        self.at_s = 0.0
        self.tries: Counter[str] = Counter()
        self.acts = 0

    def run(self) -> Score:
        """Rehearse to the end and return the score."""
        while not self.state.ended:
            self.acts += 1
            if self.acts > MOST_ACTS:
                self.say("abandoned")
                break
            self.go_on()
        return score_rehearsal(self.sheet, self.events, self.vehicle)

    def act(self, deed: Deed) -> tuple[Sign, ...]:
        """Do something and see what comes of it."""
        self.vehicle, signs = respond(self.sheet, self.vehicle, deed, self.at_s)
        return signs

    def say(self, kind: str, **details: object) -> None:
        """Tell the run."""
        if kind in ("confirmed", "done", "failed", "chosen"):
            details |= {"step": self.state.step_id, "visit": self.state.visit}
        at = NOON + timedelta(seconds=self.at_s)
        event = RunEvent(f"{len(self.events)}", kind, "Ida", at, **details)  # type: ignore[arg-type]
        self.state = apply_event(self.sheet, self.state, event)
        self.events.append(event)
        self.vehicle, _ = respond(self.sheet, self.vehicle, event, self.at_s)

    def go_on(self) -> None:
        """Do what the run waits for."""
        self.at_s += self.pace_s
        phase = self.state.phase
        if phase == "needs":
            self.say("begun", needs=self.sheet.needs)
            self.prepare()
        elif phase == "census":
            self.say("census", keys=count_keys(self.vehicle))
        elif phase in ("supply", "confirm"):
            self.confirm()
        else:
            self.mind_supply()
            step = self.sheet.steps[self.state.step_id]
            self.choose(step) if step.kind == "choose" else self.do(step)

    def prepare(self) -> None:
        """Fetch what is missing, count, and connect the supply."""
        for key in count_keys(self.vehicle):
            if not key.present:
                self.act(Deed("fetch-key", key=key.name))
        self.say("census", keys=count_keys(self.vehicle))
        self.act(Deed("connect-supply"))

    def mind_supply(self) -> None:
        """Measure before every deed and connect the supply again where it is low."""
        if tell_supply(self.vehicle, self.at_s) < find_need(self.sheet).comfort_v:
            self.act(Deed("connect-supply"))

    def confirm(self) -> None:
        """Measure, count, and confirm."""
        self.mind_supply()
        self.say("supply", volts=round(tell_supply(self.vehicle, self.at_s), 1), source="measured")
        if self.state.phase == "confirm":
            self.say("confirmed")

    def do(self, step: Step) -> None:
        """Do the step and say what was seen."""
        (sign,) = self.act(Deed("do", step.id))
        if sign.text == NOTHING_SEEN:
            (sign,) = self.act(Deed("look"))
        self.judge(step, sign)

    def judge(self, step: Step, sign: Sign) -> None:
        """Say what ``sign`` means."""
        signal = step.signal
        if sign.text == AS_IT_SAYS or (
            signal and (sign.kind, sign.count, sign.text) == (signal.kind, signal.count, signal.text)
        ):
            self.say("done")
            return
        self.tries[step.id] += 1
        words = {failure.because.strip().casefold() + ".": failure.to for failure in step.fails}
        to = words.get(sign.text.casefold(), step.fails[0].to if step.fails else "")
        if to:
            self.say("failed", to=to)
        elif self.tries[step.id] > 2:
            self.say("abandoned")

    def choose(self, step: Step) -> None:
        """Look, and answer; try twice before giving up."""
        (sign,) = self.act(Deed("do", step.id))
        labels = [option.label for option in step.options]
        if sign.text in labels:
            self.say("chosen", choice=sign.text)
        elif sign.text == FREE_CHOICE:
            vain = max(self.tries.values(), default=0) >= 2
            stops = [option.label for option in step.options if gives_up(self.sheet, option.then)]
            goes = [label for label in labels if label not in stops]
            self.say("chosen", choice=((stops if vain else goes) or labels)[0])
        else:
            words = {failure.because.strip().casefold() + ".": failure.to for failure in step.fails}
            assert sign.text == DID_NOT_WORK or sign.text.casefold() in words
            self.say("failed", to=words.get(sign.text.casefold(), step.fails[0].to))


class Hopeful(Student):
    """Says that everything worked, fetches and measures nothing, and shows one key only."""

    def prepare(self) -> None:
        """Count what the customer says is there."""
        keys = tuple(replace(key, present=True) for key in count_keys(self.vehicle))
        self.say("census", keys=keys)

    def mind_supply(self) -> None:
        """Do nothing."""

    def confirm(self) -> None:
        """Type what the run wants to read."""
        if self.state.phase == "supply":
            self.say("supply", volts=max(12.6, find_need(self.sheet).least_v), source="typed")
        self.say("confirmed")

    def do(self, step: Step) -> None:
        """Do it and hope."""
        self.act(Deed("do", step.id))
        self.say("done")

    def choose(self, step: Step) -> None:
        """Take the last way that goes on."""
        goes = [option.label for option in step.options if not gives_up(self.sheet, option.then)]
        self.say("chosen", choice=(goes or [step.options[-1].label])[-1])
