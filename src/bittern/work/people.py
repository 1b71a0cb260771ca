"""Who may do what."""

from __future__ import annotations

from dataclasses import dataclass

from bittern.work.errors import NotAllowedError

OWNER, TECHNICIAN, COUNTER = "owner", "technician", "counter"
ROLES = (OWNER, TECHNICIAN, COUNTER)

_EVERYBODY = frozenset(ROLES)
_BENCH = frozenset({OWNER, TECHNICIAN})
ABILITIES: dict[str, frozenset[str]] = {
    "counter": _EVERYBODY,  # request, authority, vehicle, key, promise, handover
    "bench": _BENCH,  # blade, pairing, proof
    "look": _BENCH,  # see a sealed bitting or key code
    "owner": frozenset({OWNER}),  # people, shop terms, logs
}


@dataclass(frozen=True, slots=True)
class Person:
    """One who works here: the login name stands in logs, ``name`` on papers."""

    login: str
    name: str
    role: str

    def may(self, ability: str) -> bool:
        """Tell whether this person's role carries ``ability``."""
        return self.role in ABILITIES[ability]


def require(person: Person, ability: str) -> None:
    """Raise :class:`NotAllowedError` unless ``person`` may do ``ability``."""
    if not person.may(ability):
        allowed = " or ".join(role for role in ROLES if role in ABILITIES[ability])
        raise NotAllowedError(f"{person.login} ({person.role})", f"somebody with the role {allowed}")
