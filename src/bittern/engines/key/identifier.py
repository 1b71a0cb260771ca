"""How likely a reading of an identifier is, for each identifier in the pack and for one outside it.

Model: the character channel of :mod:`bittern.core.channel` from the label to the reading; with chance
``elsewhere_fcc`` the identifier is another thing's, half of the time one that the pack knows. An identifier
outside the pack is a sibling of one in the pack (one or two characters of its product code differ), or shares
its grantee code, or is any text.
"""

from __future__ import annotations

import math

import numpy as np

from bittern.core.channel import ChannelRates, log_p_unknown, normalise_reading
from bittern.core.readings import find_p_reads
from bittern.engines.key.evidence import Observation
from bittern.engines.key.fcc import grantee_length, strip_prefix
from bittern.engines.key.index import Floats, Integers, KeyIndex
from bittern.engines.key.rates import Rates
from bittern.engines.key.spread import LabelLikelihood
from bittern.engines.key.weight import Weight

_CHARACTERS = 36


def identifier_likelihood(
    index: KeyIndex, observation: Observation, weight: Weight, rates: Rates
) -> LabelLikelihood:
    """Return the likelihood of an identifier that was read, or could not be had."""
    absent, null = index.tables["fcc_id"].absent, rates.null["fcc_id"]
    labelled = weight.labelled
    if observation.value is None:
        nothing, none = np.zeros(0), np.zeros(0, dtype=np.int64)
        generic = labelled * null.has + (1.0 - labelled) * null.has_not
        return LabelLikelihood(absent, none, nothing, null.has, null.has_not, null.has, null.has_not, generic)
    reading = clean_reading(str(observation.value))
    alike = np.sort(index.like_labels(reading))
    p_read = read_labels(index, alike, reading, rates.channel[observation.how])
    shares = weight.of_labels(alike)
    unknown = background(index, alike, reading, observation.how, weight, rates)
    another = 0.5 * float(shares @ p_read) / labelled + 0.5 * unknown if labelled else unknown
    elsewhere = rates.elsewhere_fcc.of(observation.how)
    answered, answered_none = 1.0 - null.has, 1.0 - null.has_not
    unlisted = (1.0 - elsewhere) * unknown + elsewhere * another
    return LabelLikelihood(
        absent=absent,
        labels=alike,
        of_labels=answered * ((1.0 - elsewhere) * p_read + elsewhere * another),
        other_label=answered * elsewhere * another,
        no_label=answered_none * another,
        unlisted_label=answered * unlisted,
        unlisted_no_label=answered_none * unlisted,
        generic=(labelled * answered + (1.0 - labelled) * answered_none) * unlisted,
    )


def clean_reading(text: str) -> str:
    """Return a reading in the channel's normal form, without "FCC ID:" and the like before it.

    >>> clean_reading("fcc id: kx4 hm22")
    'KX4-HM22'
    """
    return normalise_reading(strip_prefix(text)) or normalise_reading(text)


def read_labels(index: KeyIndex, labels: Integers, reading: str, channel: ChannelRates) -> Floats:
    """Return the channel's likelihood of ``reading`` for each of the identifiers at ``labels``."""
    values = index.tables["fcc_id"].values
    return find_p_reads([str(values[place]) for place in labels.tolist()], [reading] * len(labels), channel)


def background(
    index: KeyIndex, alike: Integers, reading: str, how: str, weight: Weight, rates: Rates
) -> float:
    """Return the likelihood of ``reading`` where the true identifier is one that the pack does not have.

    ``alike`` are the identifiers of the pack that it resembles.
    """
    longest = max(20, len(reading))
    free = math.exp(log_p_unknown(reading, rates.channel[how], longest=longest))
    labelled = max(1e-9, weight.labelled)
    places, p_sibling = _siblings(index, alike, reading)
    sibling = float(weight.of_labels(places) @ p_sibling) / labelled
    bare = reading.replace("-", "")
    length = grantee_length(bare[:1]) if bare else None
    same = 0.0
    if length and len(bare) > length:
        grantee = index.labels.grantees.get(bare[:length])
        held = 0.0 if grantee is None else weight.of_grantee(grantee)
        same = held / labelled * float(_CHARACTERS ** -(len(bare) - length)) / 14
    rest = 1.0 - rates.sibling - rates.same_grantee
    return rest * free + rates.sibling * sibling + rates.same_grantee * same


def _siblings(index: KeyIndex, alike: Integers, reading: str) -> tuple[Integers, Floats]:
    """Return the identifiers with one or two other characters in their product code, the chance of each."""
    labels = index.tables["fcc_id"].values
    bare = reading.replace("-", "")
    places, chances = [], []
    for place in alike.tolist():
        label = str(labels[place]).replace("-", "")
        fixed = grantee_length(label[:1]) or 0
        if len(label) != len(bare) or label[:fixed] != bare[:fixed]:
            continue
        count = len(label) - fixed
        differing = sum(a != b for a, b in zip(label, bare, strict=True))
        if 1 <= differing <= min(2, count):
            places.append(place)
            chances.append(0.5 / (math.comb(count, differing) * (_CHARACTERS - 1) ** differing))
    return np.array(places, dtype=np.int64), np.array(chances)
