"""Runner and simulated vehicle driven together by somebody who tells the truth, action by random action."""

from __future__ import annotations

import json
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from bittern.engines.pairing.census import KeyInHand, predict_as_it_stands
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.runner import apply_event, fold_events, start_run
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle import (
    count_keys,
    find_true_census,
    make_vehicle,
    respond,
    tell_fact,
    tell_supply,
)
from bittern.engines.pairing.vehicle_deed import find_path
from bittern.engines.pairing.vehicle_faults import gives_up, list_fitting_faults
from bittern.engines.pairing.vehicle_state import Deed, read_vehicle
from bittern.formats.runsheets import read_runsheet
from tests.strategies.sheets import sound_sheets

NOON = datetime(2024, 5, 6, 12, 0, tzinfo=UTC)
PACK = Path(__file__).parents[3] / "src/bittern/demo/pack/runsheets"
DEMO_SHEETS = [read_runsheet(path) for path in sorted(PACK.glob("*.toml"))]
WAITS_S = (0.0, 1.0, 5.0, 25.0, 700.0)
COUNTS: Counter[str] = Counter()
"""What happened in all machines of this process: actions, comparisons, ends."""


def draw_keys(chance: Random) -> tuple[KeyInHand, ...]:
    """One to four keys, the last one new and here."""
    old = ["the owner's", "the valet's", "the spare"][: chance.randint(0, 3)]
    keys = [
        KeyInHand(name, chance.random() < 0.7, chance.choice((True, True, False, None, None))) for name in old
    ]
    return (*keys, KeyInHand("the new one", True, chance.choice((False, None, True)), True))


class Rehearsal(RuleBasedStateMachine):
    """What the vehicle hides is compared with the forecast after everything that the person says."""

    @initialize(
        sheet=st.sampled_from(DEMO_SHEETS) | sound_sheets(),
        chance=st.randoms(use_true_random=False),
    )
    def make(self, sheet: RunSheet, chance: Random) -> None:
        """Begin a rehearsal of some sheet with some keys and faults."""
        self.begin_with(sheet, chance)

    def begin_with(self, sheet: RunSheet, chance: Random) -> None:
        """Make the vehicle and the run."""
        keys, seed = draw_keys(chance), chance.getrandbits(32)
        fitting = list_fitting_faults(sheet, keys)
        faults = chance.sample(fitting, min(len(fitting), chance.choice((0, 0, 1, 1, 2, 3))))
        self.sheet, self.seed, self.faults, self.told_keys = sheet, seed, faults, keys
        self.vehicle = make_vehicle(sheet, keys, faults, seed)
        self.state = start_run(sheet)
        self.events: list[RunEvent] = []
        self.done: list[tuple[Deed | RunEvent, float]] = []
        self.at_s = 0.0
        COUNTS["rehearsals"] += 1

    @precondition(lambda self: not self.going)
    @rule(
        sheet=st.sampled_from(DEMO_SHEETS) | sound_sheets(),
        chance=st.randoms(use_true_random=False),
    )
    def make_anew(self, sheet: RunSheet, chance: Random) -> None:
        """Begin another rehearsal once one has ended."""
        self.replay()
        self.begin_with(sheet, chance)

    # The rules see a machine without a rehearsal only before `make`.
    @property
    def going(self) -> bool:
        """Whether the run goes on."""
        return hasattr(self, "state") and not self.state.ended

    @property
    def last_way(self) -> str:
        """How the last deed of a step ended."""
        return [line.way for line in self.vehicle.log if line.kind == "do"][-1]

    @property
    def quiet(self) -> bool:
        """Whether nothing was done that was not told yet."""
        return self.going and not self.pending

    @property
    def pending(self) -> bool:
        """Whether the deed of the step at hand was done and nothing was said of it yet."""
        untold = self.vehicle.untold
        return untold is not None and untold.step == self.state.step_id and untold.way != "out-of-order"

    def act(self, deed: Deed | RunEvent) -> None:
        """Let the vehicle answer."""
        COUNTS["actions"] += 1
        self.done.append((deed, self.at_s))
        self.vehicle, _ = respond(self.sheet, self.vehicle, deed, self.at_s)

    def say(self, kind: str, **details: object) -> None:
        """Tell the run and the vehicle's record."""
        at = NOON + timedelta(seconds=self.at_s)
        event = RunEvent(f"{len(self.events)}", kind, "Ida", at, **details)  # type: ignore[arg-type]
        self.state = apply_event(self.sheet, self.state, event)
        self.events.append(event)
        self.act(event)
        (said,) = [line for line in self.vehicle.log if line.kind == "said"][-1:]
        assert said.true, f"the truth was taken for an untruth: {said}"

    def say_here(self, kind: str, **details: object) -> None:
        """Tell the run something about the step at hand."""
        self.say(kind, step=self.state.step_id, visit=self.state.visit, **details)

    @precondition(lambda self: self.going)
    @rule(seconds=st.sampled_from(WAITS_S))
    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.at_s += seconds
        COUNTS["actions"] += 1

    @precondition(lambda self: self.going and self.state.phase == "needs")
    @rule()
    def begin(self) -> None:
        """Affirm the needs."""
        self.say("begun", needs=self.sheet.needs)

    @precondition(lambda self: self.quiet)
    @rule()
    def count(self) -> None:
        """Count the keys that are here."""
        self.say("census", keys=count_keys(self.vehicle))

    @precondition(lambda self: self.quiet and self.state.phase != "needs")
    @rule()
    def measure(self) -> None:
        """Read the supply."""
        volts = tell_supply(self.vehicle, self.at_s)
        self.say("supply", volts=round(volts, 1), source="typed")

    @precondition(lambda self: self.going)
    @rule(kind=st.sampled_from(("look", "connect-supply", "remove-supply", "open-door", "close-doors")))
    def do_beside(self, kind: str) -> None:
        """Do something that belongs to no step."""
        before = find_true_census(self.vehicle)
        self.act(Deed(kind))
        assert find_true_census(self.vehicle) == before

    @precondition(lambda self: self.quiet and any(not key.here for key in self.vehicle.keys))
    @rule(data=st.data())
    def fetch(self, data: st.DataObject) -> None:
        """Fetch a key and count anew."""
        away = [key.name for key in self.vehicle.keys if not key.here]
        self.act(Deed("fetch-key", key=data.draw(st.sampled_from(away))))
        self.say("census", keys=count_keys(self.vehicle))

    @precondition(lambda self: self.quiet and self.state.phase == "confirm")
    @rule()
    def confirm(self) -> None:
        """Confirm the point of no return, with a fresh reading where the last one has grown old."""
        if self.sheet.supply is not None:
            self.act(Deed("connect-supply"))
            self.say("supply", volts=round(tell_supply(self.vehicle, self.at_s), 1), source="measured")
        if self.state.phase == "confirm":
            self.say_here("confirmed", present=("Ida",))

    @precondition(lambda self: self.quiet and self.state.phase == "supply")
    @rule()
    def hold_supply(self) -> None:
        """Connect the steady supply and read it."""
        self.act(Deed("connect-supply"))
        self.say("supply", volts=round(tell_supply(self.vehicle, self.at_s), 1), source="measured")

    @precondition(lambda self: self.quiet and self.state.phase == "step")
    @rule(look_first=st.booleans())
    def do_step(self, look_first: bool) -> None:
        """Do what the step at hand asks for."""
        if look_first:
            self.act(Deed("look"))
        self.act(Deed("do", self.state.step_id))
        assert self.last_way != "out-of-order"
        COUNTS[self.last_way] += 1

    @precondition(lambda self: self.going and self.pending)
    @rule()
    def tell(self) -> None:
        """Say how it went, where the sheet has words for it; otherwise it is tried again later."""
        untold = self.vehicle.untold
        assert untold is not None
        step = self.sheet.steps[untold.step]
        if untold.way == "worked" and step.kind == "choose":
            self.choose_truly(0)
        elif untold.way == "worked":
            self.say_here("done")
        elif untold.to:
            self.say_here("failed", to=untold.to)
        else:
            # Nothing happened and the sheet has no branch for it: the deed can only be done again.
            self.act(Deed("do", untold.step))

    @precondition(
        lambda self: (
            self.quiet
            and self.state.phase == "step"
            and self.sheet.steps[self.state.step_id].kind == "choose"
        )
    )
    @rule(number=st.integers(0, 5))
    def choose(self, number: int) -> None:
        """Answer a question at once."""
        self.choose_truly(number)

    def choose_truly(self, number: int) -> None:
        """Choose one of the answers that are true, or give up."""
        options = self.sheet.steps[self.state.step_id].options
        facts = tell_fact(self.sheet, self.vehicle)
        free = [one.label for one in options if not facts or gives_up(self.sheet, one.then)]
        labels = [one.label for one in options if one.label in facts or one.label in free]
        self.say_here("chosen", choice=labels[number % len(labels)])

    @precondition(lambda self: self.going)
    @rule(acts=st.integers(1, 30), chance=st.randoms(use_true_random=False))
    def go_on(self, acts: int, chance: Random) -> None:
        """Go on by whatever the run waits for: random actions alone seldom come to an end."""
        for _ in range(acts):
            if not self.going:
                return
            number = chance.randint(0, 5)
            phase, step = self.state.phase, self.sheet.steps[self.state.step_id]
            if self.pending:
                self.tell()
            elif phase == "step":
                self.choose_truly(number) if step.kind == "choose" else self.do_step(False)
            else:
                {
                    "needs": self.begin,
                    "census": self.fetch_and_count,
                    "supply": self.hold_supply,
                    "confirm": self.confirm,
                }[phase]()
            self.compare()

    def fetch_and_count(self) -> None:
        """Count the keys; where that does not allow a point of no return, fetch one."""
        if self.state.census_gaps:
            self.act(Deed("fetch-key", key=next(key.name for key in self.vehicle.keys if not key.here)))
        self.count()

    @precondition(lambda self: self.quiet)
    @rule(data=st.data())
    def do_out_of_order(self, data: st.DataObject) -> None:
        """Do the deed of a step that the vehicle does not wait for: nothing happens."""
        steps = [
            step.id
            for step in self.sheet.steps.values()
            if step.kind != "end" and find_path(self.sheet, self.vehicle.place, step.id) is None
        ]
        if not steps:
            return
        before = self.vehicle
        self.act(Deed("do", data.draw(st.sampled_from(steps))))
        assert self.last_way == "out-of-order"
        assert (self.vehicle.place, self.vehicle.keys) == (before.place, before.keys)

    @precondition(lambda self: self.going and bool(self.events))
    @rule(data=st.data())
    def repeat_event(self, data: st.DataObject) -> None:
        """An event arrives twice and changes nothing."""
        again = data.draw(st.sampled_from(self.events))
        assert apply_event(self.sheet, self.state, again) == self.state
        COUNTS["actions"] += 1

    @precondition(lambda self: self.quiet)
    @rule(really=st.sampled_from((False, False, False, True)))
    def give_up(self, really: bool) -> None:
        """Give up, now and then."""
        if really:
            self.say("abandoned")

    @invariant()
    def compare(self) -> None:
        """The forecast of every key is what the vehicle hides, wherever it does not say "try it"."""
        if not hasattr(self, "state") or self.vehicle.outcome != self.state.outcome:
            # Between a deed that ends the procedure and the word of it the run cannot know.
            assert not hasattr(self, "state") or self.pending
            return
        if self.going and self.state.phase != "needs" and not self.pending:
            assert self.vehicle.place == self.state.step_id
        if self.state.keys is None:
            return
        truth = {key.name: key.works for key in find_true_census(self.vehicle)}
        for forecast in predict_as_it_stands(self.sheet, self.state):
            COUNTS["keys compared"] += 1
            if forecast.works is None:
                COUNTS["to be tried"] += 1
            else:
                assert forecast.works == truth[forecast.name], (forecast, self.vehicle)

    @invariant()
    def survive_storage(self) -> None:
        """The vehicle's state comes back from JSON as it was."""
        if hasattr(self, "vehicle"):
            assert read_vehicle(json.loads(json.dumps(self.vehicle.as_dict()))) == self.vehicle

    def teardown(self) -> None:
        """Look back on the last rehearsal."""
        if hasattr(self, "state"):
            self.replay()

    def replay(self) -> None:
        """The same deeds meet the same vehicle; the same events lead to the same place."""
        passed = " past a point of no return" if self.vehicle.passed_no_return else ""
        COUNTS[(self.state.outcome or self.state.phase) + passed] += 1
        assert fold_events(self.sheet, self.events) == self.state
        vehicle = make_vehicle(self.sheet, self.told_keys, self.faults, self.seed)
        for deed, at_s in self.done:
            vehicle, _ = respond(self.sheet, vehicle, deed, at_s)
        assert vehicle == self.vehicle
