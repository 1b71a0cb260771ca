"""The study's tables and targets in words, as plain lines that Markdown shows as tables too."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from simulated_shop.accounting import ENDS, Account, Interval, compare, find_worst, sort_bounds, take_account
from simulated_shop.policies import POLICIES, Outcome

WRONG_PART = 1 / 3
MOST_QUESTIONS = 2.0
COST_RATIO = 1.05
DEVIATION = 0.03
STATES = ("listed", "engine", "bayes")
"""Policies that state probabilities."""

Jobs = Sequence[Mapping[str, Outcome]]


@dataclass(frozen=True, slots=True)
class Target:
    """One target, what was measured, and whether it is held."""

    name: str
    found: str
    held: bool


def account_all(jobs: Jobs) -> dict[str, Account]:
    """Return each policy's account."""
    return {name: take_account(name, [job[name] for job in jobs]) for name in POLICIES}


def list_policies(jobs: Jobs) -> Iterator[str]:
    """Yield the table of policies."""
    yield (
        "| policy | wrong orders | per 100 jobs (95 %) | needless searches | questions a job | cost a job"
        " | log score before, after |"
    )
    yield "|---|---:|---:|---:|---:|---:|---:|"
    for name, one in account_all(jobs).items():
        per = one.wrong_per_100
        before = "" if one.log_first is None else f"{one.log_first:.2f}, "
        logs = "–" if one.log_score is None else f"{before}{one.log_score:.2f}"
        yield (
            f"| {name} | {one.wrong} | {per.value:.1f} ({per.low:.1f} to {per.high:.1f}) | {one.needless}"
            f" | {one.questions:.2f} | {one.cost:.2f} | {logs} |"
        )


def list_ends(jobs: Jobs) -> Iterator[str]:
    """Yield how jobs ended, right and wrong."""
    yield "| policy | settled right, wrong | not in pack right, wrong | undecided right, wrong |"
    yield "|---|---:|---:|---:|"
    for name, one in account_all(jobs).items():
        cells = " | ".join(f"{one.ends[end][0]}, {one.ends[end][1]}" for end in ENDS)
        yield f"| {name} | {cells} |"


def list_deciles(jobs: Jobs) -> Iterator[str]:
    """Yield the reliability table: cases, stated less and observed, in per cent."""
    accounts = account_all(jobs)
    heads = " | ".join(f"{name}: cases | stated | observed (95 %)" for name in STATES)
    yield f"| stated | {heads} |"
    yield "|---|" + "---:|" * 9
    for place in range(10):
        cells = []
        for name in STATES:
            one = accounts[name].deciles[place]
            cells.append(
                "0 | – | –"
                if one is None
                else f"{one.cases} | {100 * one.stated:.1f} |"
                f" {100 * one.observed:.1f} ({100 * one.low:.1f} to {100 * one.high:.1f})"
            )
        yield f"| {10 * place} to {10 * place + 10} % | {' | '.join(cells)} |"


def list_bounds(jobs: Jobs) -> Iterator[str]:
    """Yield what the engine states beside what the Bayes rule makes of the same answers, in per cent."""
    yield "| stated | cases | engine states | Bayes rule, same answers | difference (95 %) |"
    yield "|---|---:|---:|---:|---:|"
    for place, one in enumerate(sort_bounds([job["engine"] for job in jobs])):
        name = f"{10 * place} to {10 * place + 10} %"
        if one is None:
            yield f"| {name} | 0 | – | – | – |"
            continue
        difference = f"{100 * one.deviation:+.1f} ± {100 * one.half:.1f}"
        yield f"| {name} | {one.cases} | {100 * one.stated:.1f} | {100 * one.rule:.1f} | {difference} |"


def find_targets(jobs: Jobs, *, policy: str = "engine") -> list[Target]:
    """Return the four targets as measured for ``policy``."""
    accounts = account_all(jobs)
    one = accounts[policy]
    wrong = compare([job[policy].wrong_order for job in jobs], [job["label"].wrong_order for job in jobs])
    bound = compare([job["bayes"].wrong_order for job in jobs], [job["label"].wrong_order for job in jobs])
    cost = compare([job[policy].cost for job in jobs], [job["bayes"].cost for job in jobs])
    worst = find_worst(one.deciles)
    deviation = 0.0 if worst is None else worst.deviation
    where = "no decile holds 50 cases"
    if worst is not None:
        where = f"{100 * deviation:+.1f} points where {100 * worst.stated:.0f} % is stated"
        where += f" ({worst.cases} cases, {100 * worst.low:.1f} to {100 * worst.high:.1f} % observed)"
    return [
        Target(
            "wrong orders at most a third of `label`",
            f"{say(wrong)}; of the Bayes rule {say(bound)}",
            wrong.value <= WRONG_PART,
        ),
        Target("at most 2 questions a job", f"{one.questions:.2f}", one.questions <= MOST_QUESTIONS),
        Target("cost within 5 % of the Bayes rule", f"ratio {say(cost)}", cost.value <= COST_RATIO),
        Target(
            "every decile of 50 cases within 3 points",
            where,
            worst is not None and abs(deviation) <= DEVIATION,
        ),
    ]


def say(one: Interval) -> str:
    """Return an estimate with its interval."""
    return f"{one.value:.2f} ({one.low:.2f} to {one.high:.2f})"


def list_targets(jobs: Jobs, *, policy: str = "engine") -> Iterator[str]:
    """Yield the targets as a table."""
    yield f"| target, `{policy}` | measured | |"
    yield "|---|---|---|"
    for one in find_targets(jobs, policy=policy):
        yield f"| {one.name} | {one.found} | {'held' if one.held else 'missed'} |"


def list_mismatch(runs: Mapping[str, Jobs]) -> Iterator[str]:
    """Yield the second study's table: the engine keeps its rates while the customers' change."""
    yield (
        "| error rates | wrong orders per 100: `label` | engine | Bayes rule | engine's questions"
        " | cost: engine | Bayes rule | engine / Bayes rule (95 %) | worst decile |"
    )
    yield "|---|" + "---:|" * 8
    for name, jobs in runs.items():
        accounts = account_all(jobs)
        label, engine, bayes = (accounts[one] for one in ("label", "engine", "bayes"))
        ratio = compare([job["engine"].cost for job in jobs], [job["bayes"].cost for job in jobs])
        worst = find_worst(engine.deciles)
        deviation = "–" if worst is None else f"{100 * worst.deviation:+.1f} points"
        yield (
            f"| {name} | {label.wrong_per_100.value:.1f} | {engine.wrong_per_100.value:.1f}"
            f" | {bayes.wrong_per_100.value:.1f} | {engine.questions:.2f} | {engine.cost:.2f}"
            f" | {bayes.cost:.2f} | {say(ratio)} | {deviation} |"
        )
