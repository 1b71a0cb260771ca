"""How likely a reading of an identifier is, for each identifier in the pack and for one outside it.

Model: the character channel of :mod:`bittern.core.channel` from the label to the reading; with chance
``elsewhere_fcc`` the identifier is another thing's, half of the time one that the pack knows. An identifier
outside the pack is a sibling of one in the pack (one or two characters of its product code differ), or shares
its grantee code, or is any text.
"""

from __future__ import annotations

import math

import numpy as np

from bittern.core.channel import log_p_read, log_p_unknown, normalise_reading
from bittern.engines.key.evidence import Observation
from bittern.engines.key.fcc import grantee_length, strip_prefix
from bittern.engines.key.rates import Rates
from tests.engines.key.dense.index import Floats, KeyIndex
from tests.engines.key.dense.spread import Likelihood

_CHARACTERS = 36


def identifier_likelihood(
    index: KeyIndex, observation: Observation, shares: Floats, rates: Rates
) -> Likelihood:
    """Return the likelihood of an identifier that was read, or could not be had."""
    table = index.tables["fcc_id"]
    has = np.ones(len(table.values), dtype=bool)
    if table.absent >= 0:
        has[table.absent] = False
    null = np.where(has, rates.null["fcc_id"].has, rates.null["fcc_id"].has_not)
    if observation.value is None:
        return Likelihood(null, null, float(shares @ null))
    reading = clean_reading(str(observation.value))
    p_read = reading_likelihood(index, reading, observation.how, rates)
    unknown = background(index, reading, observation.how, shares, rates)
    labelled = float(shares[has].sum())
    another = 0.5 * float(shares @ p_read) / labelled + 0.5 * unknown if labelled else unknown
    elsewhere = rates.elsewhere_fcc.of(observation.how)
    answered = 1.0 - null
    by_value = answered * np.where(has, (1.0 - elsewhere) * p_read + elsewhere * another, another)
    unlisted = (1.0 - elsewhere) * unknown + elsewhere * another
    return Likelihood(by_value, answered * unlisted, float(shares @ answered) * unlisted)


def clean_reading(text: str) -> str:
    """Return a reading in the channel's normal form, without "FCC ID:" and the like before it.

    >>> clean_reading("fcc id: kx4 hm22")
    'KX4-HM22'
    """
    return normalise_reading(strip_prefix(text)) or normalise_reading(text)


def reading_likelihood(index: KeyIndex, reading: str, how: str, rates: Rates) -> Floats:
    """Return the channel's likelihood of ``reading`` for every identifier in the pack, shape (values,).

    Identifiers that do not resemble the reading at all get 0; ``elsewhere_fcc`` still allows for them.
    """
    labels = index.tables["fcc_id"].values
    p_read = np.zeros(len(labels))
    channel = rates.channel[how]
    for place in index.like_labels(reading):
        p_read[place] = math.exp(log_p_read(str(labels[place]), reading, channel))
    return p_read


def background(index: KeyIndex, reading: str, how: str, shares: Floats, rates: Rates) -> float:
    """Return the likelihood of ``reading`` where the true identifier is one that the pack does not have."""
    table = index.tables["fcc_id"]
    longest = max(20, len(reading))
    free = math.exp(log_p_unknown(reading, rates.channel[how], longest=longest))
    labelled = max(1e-9, 1.0 - (float(shares[table.absent]) if table.absent >= 0 else 0.0))
    sibling = sum(p * float(shares[place]) for place, p in _siblings(index, reading).items()) / labelled
    bare = reading.replace("-", "")
    length = grantee_length(bare[:1]) if bare else None
    same = 0.0
    if length and len(bare) > length:
        held = float(shares[index.labels_of_grantee(bare[:length])].sum())
        same = held / labelled * float(_CHARACTERS ** -(len(bare) - length)) / 14
    rest = 1.0 - rates.sibling - rates.same_grantee
    return rest * free + rates.sibling * sibling + rates.same_grantee * same


def _siblings(index: KeyIndex, reading: str) -> dict[int, float]:
    """Return, for identifiers with one or two other characters in their product code, the chance of that."""
    labels = index.tables["fcc_id"].values
    bare = reading.replace("-", "")
    found: dict[int, float] = {}
    for place in index.like_labels(reading):
        label = str(labels[place]).replace("-", "")
        fixed = grantee_length(label[:1]) or 0
        if len(label) != len(bare) or label[:fixed] != bare[:fixed]:
            continue
        places = len(label) - fixed
        differing = sum(a != b for a, b in zip(label, bare, strict=True))
        if 1 <= differing <= min(2, places):
            found[place] = 0.5 / (math.comb(places, differing) * (_CHARACTERS - 1) ** differing)
    return found
