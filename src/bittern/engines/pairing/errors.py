"""What can go wrong while a pairing procedure is judged or walked."""

from __future__ import annotations

from bittern.core.errors import BitternError


class PairingError(BitternError):
    """Base of every error of the pairing engine."""

    code = "pairing"
    meaning = "Something about a pairing procedure or its run is not as it must be."


class SheetUnsoundError(PairingError):
    """The run sheet has faults that make the question meaningless."""

    code = "pairing.sheet-unsound"
    meaning = "The run sheet has faults that must be mended before it can be computed or walked."


class RunOverError(PairingError):
    """The run has ended or was given up; nothing more can happen in it."""

    code = "pairing.run-over"
    meaning = "The run has ended or was given up, and the event would go on with it."


class WrongMomentError(PairingError):
    """The event is of a kind that has no place at this moment of the run."""

    code = "pairing.wrong-moment"
    meaning = "The run waits for something else than this kind of event."


class WrongStepError(PairingError):
    """The event speaks of another step, or of an earlier visit, than the one at hand."""

    code = "pairing.wrong-step"
    meaning = "The event belongs to another step than the one the run stands at, often sent from an old page."


class UnknownChoiceError(PairingError):
    """The step has no such option."""

    code = "pairing.unknown-choice"
    meaning = "The step offers no option with that label."


class UnknownFailureError(PairingError):
    """The step knows no failure that leads there."""

    code = "pairing.unknown-failure"
    meaning = "The run sheet knows no failure of this step that leads to that place."


class NeedsMissingError(PairingError):
    """Something that must be true before the first step was not affirmed."""

    code = "pairing.needs-missing"
    meaning = "The run cannot begin before every need of the run sheet is affirmed."


class CensusMissingError(PairingError):
    """A point of no return is ahead and the key census is not filled in, or does not allow it."""

    code = "pairing.census-missing"
    meaning = "A point of no return needs a key census that leaves the vehicle with a key."


class SupplyMissingError(PairingError):
    """A point of no return is ahead and the supply voltage was not read, or is too low."""

    code = "pairing.supply-missing"
    meaning = "A point of no return of this run sheet needs a recent reading of a supply that is not too low."


class ConfirmationMissingError(PairingError):
    """A point of no return was to be passed without its second deliberate act."""

    code = "pairing.confirmation-missing"
    meaning = "A point of no return needs a confirmation of its own, at this very visit, before it is done."


class EventUnreadableError(PairingError):
    """A stored event does not have the form of an event."""

    code = "pairing.event-unreadable"
    meaning = "An entry of the run's log is not an event that the runner can read."


class VehicleUnreadableError(PairingError):
    """A stored simulated vehicle does not have the form of one."""

    code = "pairing.vehicle-unreadable"
    meaning = "What was stored of a simulated vehicle cannot be read."


class UnfitFaultError(PairingError):
    """The fault is not known, or it cannot happen with this run sheet and these keys."""

    code = "pairing.unfit-fault"
    meaning = "A rehearsal's fault is not known, or it cannot happen with this run sheet and these keys."
