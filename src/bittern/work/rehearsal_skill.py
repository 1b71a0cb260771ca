"""How well somebody knows each family of procedures, by the rehearsals on record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from bittern.engines.pairing.skill import Practice, Skill, weigh_skills
from bittern.work.people import Person, require
from bittern.work.rehearsals import Rehearsal, RehearsalStore

# One that is left open for so long counts as given up: leaving is no way round a bad end.
LEFT_OPEN = timedelta(days=1)


def list_practices(rehearsals: Iterable[Rehearsal], now: datetime) -> dict[str, list[Practice]]:
    """Return what counts for each person's skill, by login name.

    A vehicle counts the first time only: whoever does the very same one again knows what is hidden in it. One
    that was begun and left open for a day counts as no success.
    """
    seen: set[tuple[object, ...]] = set()
    found: dict[str, list[Practice]] = {}
    for one in sorted(rehearsals, key=lambda one: (one.begun_at, one.id)):
        ended_at = one.ended_at or one.begun_at + LEFT_OPEN
        vehicle = (one.person, one.sheet, one.seed, one.faults)
        if ended_at > now or vehicle in seen:
            continue
        seen.add(vehicle)
        found.setdefault(one.person, []).append(Practice(one.family, ended_at, bool(one.success)))
    return found


def weigh_own_skill(store: RehearsalStore, person: Person, now: datetime) -> tuple[Skill, ...]:
    """Return the person's own skill in every family."""
    require(person, "bench")
    return weigh_skills(list_practices(store.list_started(), now).get(person.login, []), now)


def weigh_everybodys_skill(
    store: RehearsalStore, person: Person, logins: Iterable[str], now: datetime
) -> Mapping[str, tuple[Skill, ...]]:
    """Return the skill of each of ``logins`` in every family; for an owner."""
    require(person, "owner")
    practices = list_practices(store.list_started(), now)
    return {login: weigh_skills(practices.get(login, []), now) for login in logins}
