"""Errors of the key engine."""

from __future__ import annotations

from bittern.core.errors import BitternError


class KeyEngineError(BitternError):
    """Base of everything that can go wrong while an article is being identified."""

    code = "key"
    meaning = "An article cannot be identified from what was given."


class FccIdError(KeyEngineError):
    """A text is not an FCC identifier."""

    code = "key.fcc_id"
    meaning = "The text does not have the form of an FCC identifier (47 CFR 2.926)."


class ObservationError(KeyEngineError):
    """An observation is of a kind, source or type that the model does not know."""

    code = "key.observation"
    meaning = "An observation is of a kind, a source or a type that the model does not know."


class DecisionError(KeyEngineError):
    """Tables given to the decision do not fit together."""

    code = "key.decision"
    meaning = "Utilities, chances and likelihoods given to the decision do not fit together."
