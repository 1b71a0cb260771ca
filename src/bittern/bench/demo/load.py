"""Put the demo shop's terms and jobs into the database, through the same use cases as everybody's."""

from __future__ import annotations

from bittern.bench.jobs.shop import save_terms
from bittern.bench.people.demo_cast import DEMO_PEOPLE
from bittern.demo.jobs import ROLES, TERMS, replay_jobs
from bittern.work.people import Person
from bittern.work.ports import Desk


def load_demo_shop(desk: Desk) -> None:
    """Load the terms and replay every job, as if it had happened up to this moment."""
    save_terms(TERMS)
    people = {key: Person(one.login, one.name, one.role) for key, one in zip(ROLES, DEMO_PEOPLE, strict=True)}
    replay_jobs(desk.store, desk.pack, people, desk.clock.now(), lessons=desk.lessons)
