"""The result of judging one observation: a likelihood spread over an article's possible values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bittern.engines.key.features import Floats, Integers


@dataclass(frozen=True, slots=True)
class Likelihood:
    """Likelihood of one observation of any kind but the identifier.

    Attributes
    ----------
    by_value
        Shape (values,): for a key that is an article with that value of the feature.
    unlisted_by_value
        Shape (values,): for a key outside the pack that otherwise resembles such an article.
    generic
        For a key outside the pack that resembles none.
    """

    by_value: Floats
    unlisted_by_value: Floats
    generic: float

    def of_values(self, codes: Integers) -> tuple[Floats, Floats]:
        """Return both likelihoods for articles with the values at ``codes``."""
        return self.by_value[codes], self.unlisted_by_value[codes]


@dataclass(frozen=True, slots=True)
class LabelLikelihood:
    """Likelihood of a reading of an identifier, the same for all labels that it does not resemble.

    Attributes
    ----------
    absent
        Place of "has none" in the table of identifiers, or -1.
    labels, of_labels
        Places of the identifiers that are told apart, in rising order, and the likelihood of each.
    other_label, no_label
        For a key that is an article with any other identifier, or with none.
    unlisted_label, unlisted_no_label
        For a key outside the pack that resembles an article with an identifier (which two articles never
        share by resemblance), or one without.
    generic
        For a key outside the pack that resembles none.
    """

    absent: int
    labels: Integers
    of_labels: Floats
    other_label: float
    no_label: float
    unlisted_label: float
    unlisted_no_label: float
    generic: float

    def of_values(self, codes: Integers) -> tuple[Floats, Floats]:
        """Return both likelihoods for articles with the identifiers at ``codes``."""
        none = codes == self.absent
        own = np.where(none, self.no_label, self.other_label)
        if len(self.labels):
            found = np.minimum(np.searchsorted(self.labels, codes), len(self.labels) - 1)
            own = np.where((self.labels[found] == codes) & ~none, self.of_labels[found], own)
        return own, np.where(none, self.unlisted_no_label, self.unlisted_label)
