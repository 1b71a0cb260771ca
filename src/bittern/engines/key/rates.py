"""How often things are wrong: every rate of the key engine's model in one place, with its reason.

All are starting values of ours from experience of the kinds of error ("common practice" where said), none is
measured; they are plain data so that finished jobs can replace them. ``outside_floor``, ``unlisted``,
``foreign`` and ``same_make`` were raised after simulated years, which showed how much too sure the
engine is where lists have gaps; ``overlooked``, ``miscount``, ``undercount`` and ``missed`` were set after
later ones, which showed what an overlooked button costs (docs/explanation/key-study.md).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from bittern.core.channel import CHANNEL_BY_HOW, ChannelRates


@dataclass(frozen=True, slots=True)
class ByHow:
    """A rate for each way an observation is got."""

    told: float
    read_aloud: float
    seen: float
    photographed: float
    measured: float

    def of(self, how: str) -> float:
        """Return the rate of ``how``, written as in an observations file.

        >>> ByHow(0.3, 0.2, 0.1, 0.05, 0.01).of("read-aloud")
        0.2
        """
        return float(getattr(self, how.replace("-", "_")))


class NullRates(NamedTuple):
    """Chance that a question has no answer, where the article has the feature and where it has not."""

    has: float
    has_not: float


@dataclass(frozen=True, slots=True)
class Rates:
    """Rates of the generative model; see ``docs/explanation/key.md`` for the model itself.

    Attributes
    ----------
    outside_floor
        Least chance that a vehicle takes something that the fitments do not list for it, even where shares
        sum to 1: no catalogue is complete, and new versions appear before its next issue.
    unlisted
        Of what is outside the fitments of a listed vehicle, the part that takes an article which the pack has
        for other vehicles: lists have gaps about as often as they lack an article.
    unlisted_model, unlisted_make
        The same where the pack lists nothing for such a vehicle, of a make that it lists and of one that it
        does not: what the pack has is then for other makes.
    unknown_model, unknown_make
        Chance that a vehicle whose model (or make too) was not given is none that the pack lists.
    year_off
        Chance, on each side, that a told year is off by one: model year and first registration differ for
        cars sold around the turn of the model year (common practice).
    year_uncovered
        Weight of a year for which the pack has no row of that model, beside 1 for a year with rows: mostly
        the model was not made then.
    foreign
        The key shown is not the vehicle's own kind: bought second-hand, replaced by something that never
        worked, or belonging to another car of the household.
    foreign_unknown
        Part of such keys that the pack does not have: a pack that is worth using has most of what is about.
    same_make
        Part of such keys, and of articles outside the pack, that look like those of the vehicle's own make;
        the rest look like those of the whole pack.
    outside_alike
        Part of the articles outside the pack whose buttons, radio, blade and chip are those of some article
        in the pack: makers build families. The rest mix features freely.
    sibling, same_grantee
        Of the identifiers outside the pack: part that differs from one in the pack by one or two characters
        of its product code (families are numbered in sequence), and part that shares its grantee code only.
    elsewhere
        The observation is about another thing than the key shown (the other remote on the ring).
    elsewhere_fcc
        The same for an identifier, which is also copied from web pages, boxes and garage-door remotes.
    overlooked
        One button is overlooked in a look at the key, and so in whatever is said after it, number and list
        alike: it is on the other face, or worn smooth (common practice).
    miscount
        A number of buttons is wrong beyond that; each further button of error is four times rarer. Where
        there is none to pass over, it is wrong by that much less.
    undercount
        Part of the wrong numbers that are too low: a button is passed over in counting more easily than one
        is counted twice (common practice).
    missed, imagined
        Per button: not said though it was seen, or believed to be there.
    imagined_new
        A set of buttons holds a word that the pack does not know, though it is about an article in the pack.
    start_wrong
        Turn and push mixed up.
    category_wrong
        A blade standard or a chip named wrongly.
    category_new
        A blade or chip outside the pack is one of which the pack has no name.
    frequency_sd_hz
        Standard deviation where none is given: what a person remembers, a label printed to 0.1 MHz or better,
        a simple receiver.
    frequency_unit_sd_hz
        Remotes of one article differ from their nominal carrier by this much (resonator tolerance of
        +-75 kHz taken as three to four standard deviations; from memory).
    frequency_round
        Standard deviation of a value told in whole or tenth megahertz, as a part of that step: "433" is said
        for 433.92, so rounding down counts too.
    frequency_free
        Part of the radios outside the pack that keep to none of the pack's frequencies.
    null
        Question cannot be answered, for each kind, where the article has the feature and where not.
    channel
        The character channel of each way.
    """

    outside_floor: float = 0.07
    unlisted: float = 0.5
    unlisted_model: float = 0.45
    unlisted_make: float = 0.05
    unknown_model: float = 0.05
    unknown_make: float = 0.10
    year_off: float = 0.03
    year_uncovered: float = 0.2
    foreign: float = 0.06
    foreign_unknown: float = 0.2
    same_make: float = 0.9
    outside_alike: float = 0.6
    sibling: float = 0.3
    same_grantee: float = 0.3
    elsewhere: ByHow = ByHow(0.02, 0.01, 0.005, 0.005, 0.002)
    elsewhere_fcc: ByHow = ByHow(0.06, 0.02, 0.01, 0.005, 0.002)
    overlooked: float = 0.09
    miscount: ByHow = ByHow(0.06, 0.05, 0.02, 0.02, 0.01)
    undercount: float = 0.7
    missed: ByHow = ByHow(0.04, 0.03, 0.01, 0.01, 0.005)
    imagined: ByHow = ByHow(0.03, 0.02, 0.005, 0.005, 0.002)
    imagined_new: ByHow = ByHow(0.01, 0.005, 0.003, 0.003, 0.001)
    start_wrong: ByHow = ByHow(0.03, 0.02, 0.005, 0.005, 0.002)
    category_wrong: ByHow = ByHow(0.15, 0.10, 0.04, 0.04, 0.01)
    category_new: float = 0.2
    frequency_sd_hz: ByHow = ByHow(5e4, 5e4, 3e4, 3e4, 2e4)
    frequency_unit_sd_hz: float = 2e4
    frequency_round: float = 0.6
    frequency_free: float = 0.3
    null: Mapping[str, NullRates] = field(
        default_factory=lambda: {
            # Labels are worn off or inside the case; a key without radio has none to look for.
            "fcc_id": NullRates(0.30, 0.90),
            "button_count": NullRates(0.05, 0.05),
            "buttons": NullRates(0.08, 0.15),
            "start": NullRates(0.02, 0.02),
            "blade": NullRates(0.20, 0.85),
            # The battery is flat or the bench has no receiver to hand; without radio nothing comes.
            "frequency_hz": NullRates(0.25, 0.95),
            "chip": NullRates(0.30, 0.80),
        }
    )
    channel: Mapping[str, ChannelRates] = field(default_factory=lambda: dict(CHANNEL_BY_HOW))
