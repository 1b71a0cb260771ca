"""The result of judging one observation: a likelihood spread over an article's possible values."""

from __future__ import annotations

from dataclasses import dataclass

from tests.engines.key.dense.index import Floats


@dataclass(frozen=True, slots=True)
class Likelihood:
    """Likelihood of one observation.

    Attributes
    ----------
    by_value
        Shape (values,): for a key that is an article with that value of the feature.
    unlisted_by_value
        Shape (values,): for a key outside the pack that otherwise resembles such an article. Differs from
        ``by_value`` for the identifier only, which two articles never share by resemblance.
    generic
        For a key outside the pack that resembles none.
    """

    by_value: Floats
    unlisted_by_value: Floats
    generic: float
