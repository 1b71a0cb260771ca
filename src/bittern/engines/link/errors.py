"""What can go wrong on the vehicle link, whatever the adapter."""

from __future__ import annotations

from bittern.core.errors import BitternError


class LinkError(BitternError):
    """Base of the vehicle link's errors."""

    code = "link"
    meaning = "Something about the link to the vehicle is wrong."


class RefusedFrameError(LinkError):
    """A frame that is no allowed request and no flow control that an answer has asked for."""

    code = "link.refused"
    meaning = "The link only reads: four requests may leave, and the flow control of their answers."


class SilenceError(LinkError):
    """Nobody answered in time."""

    code = "link.silence"
    meaning = "No control unit of the vehicle answered in time."


class AnswerError(LinkError):
    """An answer that arrived whole and does not say what it should."""

    code = "link.answer"
    meaning = "A control unit answered, and the answer is not what was asked for."


class SupplyError(LinkError):
    """Limits or readings of the supply voltage that cannot be used."""

    code = "link.supply"
    meaning = "A reading or a limit of the supply voltage cannot be used."
