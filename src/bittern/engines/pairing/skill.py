"""How sure one may be that somebody does a family of procedures without harm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from bittern.core.beta import beta_interval
from bittern.engines.pairing.sheet import RunSheet

FAMILIES = {
    "adds": "Adds a key; those that work go on working",
    "keeps-here": "Keeps only the keys that are here",
    "renews": "Renews every key",
}
_BY_CENSUS = {"all": "adds", "present-only": "keeps-here", "new-only": "renews"}


@dataclass(frozen=True, slots=True)
class SkillRules:
    """When somebody may do a family alone.

    Attributes
    ----------
    half_life_days
        After so many days a rehearsal counts half.
    least_share
        The share of successes that must be exceeded with a chance of 95 %.
    fewest
        Rehearsals of the family, whatever their age, before the question is asked at all.

    Notes
    -----
    Our own judgement. With no failure, four fresh rehearsals reach 0.55; after a half-life they count as two
    and the bound is 0.37: whoever has not done it for long does one again.
    """

    half_life_days: float = 120.0
    least_share: float = 0.5
    fewest: int = 4


@dataclass(frozen=True, slots=True)
class Practice:
    """One rehearsal on record: its family, when it ended, whether it was a success."""

    family: str
    at: datetime
    success: bool


@dataclass(frozen=True, slots=True)
class Skill:
    """What is known of somebody's skill in a family.

    Attributes
    ----------
    family
        One of ``FAMILIES``.
    rehearsals, successes
        How many there were.
    share
        Posterior mean of the share of successes.
    low, high
        5 % and 95 % bounds of the share.
    may_alone
        Whether the rules allow to do it alone.
    because
        Why, or what is missing, as a sentence.
    """

    family: str
    rehearsals: int
    successes: int
    share: float
    low: float
    high: float
    may_alone: bool
    because: str


def find_family(sheet: RunSheet) -> str:
    """Return the family that a sheet belongs to: what it does to the keys is what must be got right.

    Examples
    --------
    >>> find_family(RunSheet("a", "A", "x", "new-only"))
    'renews'
    """
    return _BY_CENSUS[sheet.census]


def weigh_skill(
    family: str, practices: Sequence[Practice], now: datetime, rules: SkillRules | None = None
) -> Skill:
    """Return what is known of the skill in ``family`` at ``now``.

    Parameters
    ----------
    family
        The family asked about; practices of others are left out.
    practices
        Rehearsals of one person, in any order; one from the future counts as of now.
    now
        With a time zone.
    rules
        When somebody may do it alone.

    Notes
    -----
    Every rehearsal is a trial with the same unknown share of successes; uniform prior; a trial counts
    ``2 ** (-age / half_life)``. What it cannot see: that sheets of a family differ, and that the vehicle in
    the yard is not the simulated one.

    Examples
    --------
    >>> from datetime import UTC
    >>> now = datetime(2024, 5, 6, tzinfo=UTC)
    >>> skill = weigh_skill("adds", [Practice("adds", now, True)] * 4, now)
    >>> round(skill.share, 2), round(skill.low, 2), skill.may_alone
    (0.83, 0.55, True)
    """
    rules = rules or SkillRules()
    own = [one for one in practices if one.family == family]
    good = bad = 0.0
    for one in own:
        age_days = max(0.0, (now - one.at).total_seconds() / 86400.0)
        weight = 2.0 ** (-age_days / rules.half_life_days)
        good, bad = (good + weight, bad) if one.success else (good, bad + weight)
    low, high = beta_interval(1.0 + good, 1.0 + bad, 0.9)
    may = len(own) >= rules.fewest and low >= rules.least_share
    successes = sum(one.success for one in own)
    share = (1.0 + good) / (2.0 + good + bad)
    return Skill(family, len(own), successes, share, low, high, may, _say_why(len(own), low, rules))


def weigh_skills(
    practices: Sequence[Practice], now: datetime, rules: SkillRules | None = None
) -> tuple[Skill, ...]:
    """Return the skill in every family, in the order of FAMILIES."""
    return tuple(weigh_skill(family, practices, now, rules) for family in FAMILIES)


def _say_why(count: int, low: float, rules: SkillRules) -> str:
    missing = rules.fewest - count
    if missing > 0:
        return f"{missing} more rehearsal{'s' if missing > 1 else ''} before this can be said."
    if low < rules.least_share:
        return f"It could be as little as {low:.0%} that succeed; {rules.least_share:.0%} is asked for."
    return f"At least {low:.0%} succeed, with a chance of 95 %."
