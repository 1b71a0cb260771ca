"""Errors of the use cases."""

from __future__ import annotations

from collections.abc import Mapping

from bittern.core.errors import BitternError, Fault, FaultsError


class WorkError(BitternError):
    """Base of the use cases' errors."""

    code = "work"
    meaning = "A step of a job cannot be taken."


class NotAllowedError(WorkError):
    """The person's role does not carry this act."""

    code = "work.not-allowed"
    meaning = "This person's role does not carry this act."


class NoSuchJobError(WorkError):
    """No job has this number."""

    code = "work.no-such-job"
    meaning = "No job has this number."


class NoSuchRehearsalError(WorkError):
    """No rehearsal of this person's has this number."""

    code = "work.no-such-rehearsal"
    meaning = "No rehearsal that this person may see has this number."


class NoSuchSheetError(WorkError):
    """No run sheet has this id, or no version of it this number."""

    code = "work.no-such-sheet"
    meaning = "No run sheet has this id, or no version of it has this number."


class NotYetError(WorkError):
    """Something that must stand before this act is missing."""

    code = "work.not-yet"
    meaning = "Something that must be settled before this act is still open."


class ClosedError(WorkError):
    """The job is closed or withdrawn; nothing more is recorded on it."""

    code = "work.closed"
    meaning = "The job is closed or withdrawn and takes no further entries."


class ConflictError(WorkError):
    """Somebody else changed the job in the meantime."""

    code = "work.conflict"
    meaning = "Somebody else changed the job in the meantime; read it again and repeat the entry."


class SealBrokenError(WorkError):
    """A sealed value cannot be opened: it was changed, or another key sealed it."""

    code = "work.seal-broken"
    meaning = "A sealed value cannot be opened: it was changed, or the shop's key file is another one."


class OtherVehicleError(WorkError):
    """The vehicle at hand is not the job's by its number on board."""

    code = "work.other-vehicle"
    meaning = "The number on board is not the job's, or control units give different ones; nothing goes on."


class FieldsError(FaultsError):
    """One or more fields of an entry are wrong; ``fields`` maps each to its sentence."""

    code = "work.fields"
    meaning = "One or more fields of an entry are wrong; each is named with what was expected."

    @property
    def fields(self) -> Mapping[str, str]:
        """Return for each wrong field what is wrong with it, a sentence a fault."""
        sentences: dict[str, list[str]] = {}
        for fault in self.faults:
            sentences.setdefault(fault.where, []).append(f"Found {fault.found}; expected {fault.expected}.")
        return {name: " ".join(found) for name, found in sentences.items()}


def field_fault(name: str, found: str, expected: str) -> FieldsError:
    """Return a :class:`FieldsError` about one field."""
    return FieldsError([Fault(where=name, found=found, expected=expected)])
