"""What can go wrong between this computer and the adapter."""

from __future__ import annotations

from bittern.engines.link.errors import LinkError


class ChannelError(LinkError):
    """A channel that is not written as one."""

    code = "link.channel"
    meaning = "The channel is none of socketcan:NAME, slcan:PORT, virtual:NAME, or its speed is none."


class AdapterError(LinkError):
    """No adapter there, no right to use it, or it was pulled out."""

    code = "link.adapter"
    meaning = "The adapter cannot be opened or no longer answers; number and voltage can be typed in instead."
