"""What a rehearsal was worth: points of 100, and for every point lost what would have been right."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from bittern.core.phrases import join_words
from bittern.engines.pairing.chain import SheetFigures, analyse_sheet
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.runner import SUPPLY_FRESH, fold_events
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle import CONNECT_S, FETCH_S
from bittern.engines.pairing.vehicle_faults import find_need, find_supply_failure, gives_up
from bittern.engines.pairing.vehicle_state import Happening, Vehicle

FULL = 100
SUCCESS = 80
LEAST_SPREAD_S = 60.0


@dataclass(frozen=True, slots=True)
class Weights:
    """Points that each thing costs, and at most so many for one kind of thing; our own judgement.

    What can cost a customer a key weighs most: a success needs 80, so one of these alone prevents it.
    """

    untruth: int = 25
    lost_key: int = 30
    gave_up: int = 25
    unconfirmed: int = 25
    false_end: int = 25
    ignored_supply: int = 20
    false_reading: int = 15
    missed_signal: int = 10
    wrong_count: int = 10
    wrong_branch: int = 10
    wrong_order: int = 10
    late: int = 8
    slow: int = 5
    very_slow: int = 10
    most: int = 40


@dataclass(frozen=True, slots=True)
class Reason:
    """Points lost.

    Attributes
    ----------
    kind
        A field of :class:`Weights`.
    points
        How many.
    step
        The step's id; empty for the run as a whole.
    found, right
        What happened and what would have been right, a sentence each.
    """

    kind: str
    points: int
    step: str
    found: str
    right: str

    def __str__(self) -> str:
        place = f"{self.step}: " if self.step else ""
        return f"{place}{self.found} {self.right} (-{self.points})"


@dataclass(frozen=True, slots=True)
class Score:
    """A rehearsal's worth.

    Attributes
    ----------
    points
        0 to 100.
    reasons
        In the order in which it happened.
    lost_keys
        Names of keys that worked before and were lost where they need not have been.
    time_s
        The procedure's own time with the person's, seconds.
    time_p50_s, time_p90_s
        The sheet's, for comparison.
    """

    points: int
    reasons: tuple[Reason, ...] = ()
    lost_keys: tuple[str, ...] = ()
    time_s: float = 0.0
    time_p50_s: float = 0.0
    time_p90_s: float = 0.0

    @property
    def success(self) -> bool:
        """Whether it counts as a success: 80 points, and no key lost."""
        return self.points >= SUCCESS and not self.lost_keys


def score_rehearsal(
    sheet: RunSheet,
    events: Sequence[RunEvent],
    vehicle: Vehicle,
    *,
    figures: SheetFigures | None = None,
    weights: Weights | None = None,
) -> Score:
    """Return what a rehearsal was worth.

    Parameters
    ----------
    sheet
        The sheet that was rehearsed.
    events
        What the person told the run, as the run accepted it.
    vehicle
        The vehicle at the end; its log says what truly happened.
    figures
        The sheet's figures where they are at hand; computed otherwise.
    weights
        The points that each thing costs.

    Notes
    -----
    What chance brings along the sheet's own failures costs nothing, whatever the end: only what the person
    did or said does. A rehearsal that was left open counts as one that was given up.
    """
    weights, figures = weights or Weights(), figures or analyse_sheet(sheet)
    walk = _Walk(sheet, weights)
    reasons = [reason for line in vehicle.log for reason in walk.judge(line)]
    reasons += _judge_end(sheet, events, vehicle, weights, walk)
    lost = find_needlessly_lost(sheet, vehicle)
    if lost:
        names = join_words(lost)
        reasons.append(
            Reason(
                "lost_key",
                min(weights.most, weights.lost_key + 5 * (len(lost) - 1)),
                walk.point,
                f"The customer has lost {names}, which worked before.",
                _say_how_to_keep(vehicle, lost),
            )
        )
    time_s = vehicle.now_s + vehicle.skipped_s
    reasons += _judge_time(vehicle, figures, weights)
    reasons = _limit(reasons, weights)
    points = max(0, FULL - sum(reason.points for reason in reasons))
    return Score(points, tuple(reasons), lost, time_s, figures.time_p50_s, figures.time_p90_s)


def find_needlessly_lost(sheet: RunSheet, vehicle: Vehicle) -> tuple[str, ...]:
    """Return the names of old keys that worked, were said to be here, and were lost though they need not be.

    Where only new keys work afterwards, and where the vehicle is stranded by chance of the sheet, nobody
    could have kept them.
    """
    if sheet.census != "present-only" or not vehicle.passed_no_return or vehicle.outcome == "stranded":
        return ()
    return tuple(
        key.name
        for key in vehicle.keys
        if not key.new and not key.known and key.said_here and key.name in vehicle.known_before
    )


@dataclass(slots=True)
class _Walk:
    """Goes along what happened and remembers what the judgement of a line needs."""

    sheet: RunSheet
    weights: Weights
    place: str = ""
    point: str = ""
    confirmed: bool = False
    passed: bool = False
    read_at_s: float | None = None
    looked: bool = False
    tries: dict[str, int] = field(default_factory=dict)
    causes: list[str] = field(default_factory=list)
    stuck: int = 0

    def judge(self, line: Happening) -> Iterator[Reason]:
        """Yield what ``line`` costs."""
        if not self.place:
            self.place = self.sheet.start
        if line.kind == "do":
            yield from self._judge_deed(line)
        elif line.kind == "said":
            yield from self._judge_word(line)
        elif line.kind == "look":
            self.looked = True

    def _judge_deed(self, line: Happening) -> Iterator[Reason]:
        step = self.sheet.steps[line.step]
        self.looked = False
        if line.way == "out-of-order":
            yield Reason(
                "wrong_order",
                self.weights.wrong_order,
                line.step,
                "You did this while the vehicle waited for something else.",
                f"Right: {self.place}, or look at what the vehicle shows first.",
            )
            return
        if line.way == "late":
            yield Reason(
                "late",
                self.weights.late,
                line.step,
                f"Its window of {step.window_s or 0:g} s had run out.",
                "Right: read it before the step ahead of it is done, then do it at once.",
            )
        if step.no_return:
            yield from self._judge_point(line)
        elif line.cause == "supply" and find_supply_failure(step) is None:
            yield self._blame_supply(line)
        if line.way != "worked":
            self.tries[line.step] = self.tries.get(line.step, 0) + 1
            self.causes.append(line.cause)
        self.stuck = self.stuck + 1 if line.way in ("nothing", "late") and not line.to else 0
        self.place = line.to or line.step

    def _judge_point(self, line: Happening) -> Iterator[Reason]:
        self.point = line.step
        self.passed = self.passed or line.way == "worked"
        if not self.confirmed:
            yield Reason(
                "unconfirmed",
                self.weights.unconfirmed,
                line.step,
                "You did what cannot be taken back before the run had let you.",
                "Right: census, supply and confirmation first.",
            )
        fresh = self.read_at_s is not None and line.at_s - self.read_at_s <= SUPPLY_FRESH.total_seconds()
        if line.volts < find_need(self.sheet).least_v and (line.cause == "supply" or not fresh):
            yield self._blame_supply(line)

    def _blame_supply(self, line: Happening) -> Reason:
        least_v = find_need(self.sheet).least_v
        return Reason(
            "ignored_supply",
            self.weights.ignored_supply,
            line.step,
            f"The supply stood at {line.volts:.1f} V.",
            f"Right: read it with the ignition on and connect a steady supply below {least_v:g} V.",
        )

    def _judge_word(self, line: Happening) -> Iterator[Reason]:
        if line.told == "confirmed":
            self.confirmed = True
        elif line.told == "supply" and line.true and line.volts >= find_need(self.sheet).least_v:
            self.read_at_s = line.at_s
        if not line.true:
            yield self._blame_word(line)
        if line.told == "chosen":
            yield from self._judge_choice(line)
        if line.told in ("done", "failed", "chosen"):
            self.confirmed = False

    def _blame_word(self, line: Happening) -> Reason:
        weights, said = self.weights, line.told
        if said == "done":
            found = "You said that it worked, and it had not."
            if not line.way:
                found = "You said that it was done, and nothing had been done."
            right = "Right: say that it did not do that, and follow the branch."
            return Reason("untruth", weights.untruth, line.step, found, right)
        if said == "failed" and line.way == "worked":
            found = "You said that it failed, and it had worked."
            right = "Right: look again before you say so." if line.unseen else "Right: say that it is done."
            return Reason("missed_signal", weights.missed_signal, line.step, found, right)
        if said == "failed" and not line.way:
            found = "You said that it failed before you had tried it."
            return Reason("gave_up", weights.gave_up, line.step, found, "Right: do it, and look.")
        if said == "census":
            found = "Your count of the keys was not what lay there."
            right = "Right: lay every key on the seat and count again."
            return Reason("wrong_count", weights.wrong_count, line.step, found, right)
        if said == "supply":
            found = f"You gave the supply as {line.told_to} V; it stood at {line.volts:.1f} V."
            return Reason("false_reading", weights.false_reading, line.step, found, "Right: read the meter.")
        found = f"You took the way to {line.told_to}; that was not what had happened."
        if said == "chosen":
            found = f"You answered “{line.told_to}”; that was not so."
        right = f"Right: the way to {line.to}." if line.to else "Right: look first, then answer."
        return Reason("wrong_branch", weights.wrong_branch, line.step, found, right)

    def _judge_choice(self, line: Happening) -> Iterator[Reason]:
        step = self.sheet.steps[line.step]
        option = next((one for one in step.options if one.label == line.told_to), None)
        if option is None:
            return
        way_on = any(not gives_up(self.sheet, one.then) for one in step.options)
        if way_on and gives_up(self.sheet, option.then) and not self.may_stop:
            yield Reason(
                "gave_up",
                self.weights.gave_up,
                line.step,
                f"You gave up with “{line.told_to}” though the vehicle would still have gone on.",
                "Right: try it once more; twice in vain is a reason to stop.",
            )
        self.place = option.then

    @property
    def may_stop(self) -> bool:
        """Whether there was reason to give up: twice in vain, no way on, or a low supply and nothing lost."""
        vain = max(self.tries.values(), default=0) >= 2 or self.stuck >= 1
        return vain or "wrong-article" in self.causes or (not self.passed and "supply" in self.causes)


def _judge_end(
    sheet: RunSheet, events: Sequence[RunEvent], vehicle: Vehicle, weights: Weights, walk: _Walk
) -> Iterator[Reason]:
    state = fold_events(sheet, events)
    if state.outcome == "good" and vehicle.outcome != "good":
        yield Reason(
            "false_end",
            weights.false_end,
            state.step_id,
            "The run is on record as ended well, and the vehicle has not got there.",
            "Right: say at every step what the vehicle truly did.",
        )
    if state.outcome or walk.may_stop:
        return
    if walk.passed:
        found = "You left the vehicle past a point of no return and before the end."
    elif state.ended:
        found = "You gave up though the vehicle would still have gone on."
    else:
        found = "You left the rehearsal open."
    right = "Right: go on to an end of the run sheet."
    yield Reason("gave_up", weights.gave_up, state.step_id, found, right)


def _say_how_to_keep(vehicle: Vehicle, lost: Sequence[str]) -> str:
    away = [key.name for key in vehicle.keys if key.name in lost and not key.here]
    if away:
        return f"Right: have {join_words(away)} fetched before the point of no return."
    return "Right: go on until every key that lies there was shown to the vehicle."


def _judge_time(vehicle: Vehicle, figures: SheetFigures, weights: Weights) -> Iterator[Reason]:
    """Yield what slowness costs.

    Fetching a key and connecting the supply are care that the sheet's times know nothing of. Where chance
    alone made the steps long, the person has the sheet's own spread on top, or half its median, or a minute,
    whichever is most.
    """
    beside_s = {"fetch-key": FETCH_S, "connect-supply": CONNECT_S, "remove-supply": CONNECT_S}
    steps_s = vehicle.skipped_s - sum(beside_s.get(line.kind, 0.0) for line in vehicle.log)
    spread_s = max(figures.time_p90_s - figures.time_p50_s, figures.time_p50_s / 2, LEAST_SPREAD_S)
    limit_s = max(figures.time_p90_s, steps_s + spread_s)
    time_s = vehicle.now_s + steps_s
    if time_s <= limit_s:
        return
    kind = "very_slow" if time_s > 1.5 * limit_s else "slow"
    found = f"It took {_say_time(time_s)}; {_say_time(limit_s)} would have been enough."
    yield Reason(kind, getattr(weights, kind), "", found, "Right: read the next step before you need it.")


def _say_time(seconds: float) -> str:
    return f"{seconds / 60:.0f} minutes" if seconds >= 600 else f"{seconds:.0f} seconds"


def _limit(reasons: Sequence[Reason], weights: Weights) -> list[Reason]:
    """Return the reasons with at most so many points for one kind."""
    spent: dict[str, int] = {}
    limited: list[Reason] = []
    for reason in reasons:
        left = weights.most - spent.get(reason.kind, 0)
        points = min(reason.points, left)
        spent[reason.kind] = spent.get(reason.kind, 0) + points
        limited.append(Reason(reason.kind, points, reason.step, reason.found, reason.right))
    return limited
