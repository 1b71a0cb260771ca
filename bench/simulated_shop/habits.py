"""How customers, keys and packs of the simulated shop behave: every parameter in one place, with its reason.

Set before the first run from what is usual in practice, all "from memory" and none measured, and kept since.
They differ from the engine's model in kind where life would: mistakes go together (a worn key loses its
label, its print and its battery; a careless customer errs in everything), look-alikes are not equally likely,
the same hidden button is overlooked twice, and gaps of the pack cluster about neighbours in the same make.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace


@dataclass(frozen=True, slots=True)
class Habits:
    """Probabilities unless the name says otherwise.

    Attributes
    ----------
    no_key, by_phone, at_vehicle
        Of the jobs: every key is lost; the customer is on the telephone; the technician stands at the
        vehicle. The rest come to the counter.
    number_given, model_untold, year_untold, start_mentioned
        The vehicle's number is at hand, so that the year is sure; make but no model is told; no year is told;
        the customer says by himself how the engine starts.
    label_offered, count_offered
        Said before anybody asks: the identifier, and how many buttons there are.
    careless, careless_factor, careful_factor
        Customers whose errors are that many times more (less) frequent than the rates below.
    year_off, year_two_off, year_late
        A told year is off by one; off by two; and part of both that is too late, because the first
        registration is remembered rather than the model year.
    new_version, fitment_gap
        Vehicles of a listed model that take something the pack does not have; that take an article which the
        pack lists for other vehicles only.
    gap_same_make
        Part of the latter that belongs to the same make.
    model_missing, missing_model_known
        Vehicles whose model the pack does not list; part of them that take an article it has.
    uncovered_weight, uncovered_same, uncovered_gap
        Weight of the two years after a model's last rows, beside a covered year; of such vehicles, those that
        take what the nearest year takes, and those that take some other article of the pack.
    share_concentration
        True shares scatter about those of the pack like a Dirichlet draw of this size.
    push_early, push_late
        Push start's part in 2006 and 2024 (linear between) where a model has both.
    second_hand, second_hand_alike, second_hand_unknown
        The key shown is not of the vehicle's kind; of those, bought for its looks (same make and kind), and
        something that the pack does not have. The rest is any key of any make.
    new_case, new_case_other_layout, new_case_bare
        The case was replaced; then other buttons; then no label on it, else another article's label.
    worn, worn_text_bad, text_bad
        Worn keys; chance that a text is badly legible on a worn key and otherwise.
    no_label_read, worn_no_label_read, unlabelled_silent
        No identifier can be had: on a key that has one, on a worn key, on a key that has none. Otherwise a
        key that has none gives some number moulded in its case.
    other_thing
        On the telephone: the number of another thing is read (per customer of ordinary care).
    look, sound, mistaken, lost, doubled, swapped
        Per character of a well legible text (swapped: per pair).
    bad_factor
        Errors of look, mistaken and lost are that many times more frequent in a badly legible text.
    end_cut, phone_end_cut, head_cut
        One to three characters at the end are left out; the first three are left out.
    hyphen_dropped, hyphen_added, prefixed
        Per text.
    button_missed, told_button_missed, button_imagined, told_button_imagined
        Per button.
    hidden_missed
        The button on the other face is overlooked, in list and count alike.
    miscounted, told_miscounted, undercount
        A count is off by one; part of it that is too low.
    no_count, no_buttons, no_start, no_blade, no_radio, worn_no_radio, no_chip
        Asked, and cannot be had, where the key has the feature.
    featureless_silent
        The same where it does not have it; otherwise another key's is taken for it.
    start_mixed
        Turn for push, when told by a customer of ordinary care.
    blade_mistaken, chip_mistaken
        A look-alike blade of the same group; any other chip.
    radio_sd_hz, radio_wide_sd_hz, radio_wide, radio_stray
        Spread of a measured frequency, of a cheap resonator's, how frequent those are, and how often another
        sender is measured.
    sibling_number, sibling_grantee
        Identifiers of things the pack does not have: another number in a family; any code of the same
        grantee. The rest is any identifier.
    keeps_layout, keeps_radio, keeps_blade, keeps_chip
        Features that such a thing shares with the article of the pack that it was derived from.
    """

    no_key: float = 0.12
    by_phone: float = 0.35
    at_vehicle: float = 0.10
    number_given: float = 0.35
    model_untold: float = 0.05
    year_untold: float = 0.04
    start_mentioned: float = 0.30
    label_offered: float = 0.20
    count_offered: float = 0.25
    careless: float = 0.25
    careless_factor: float = 2.5
    careful_factor: float = 0.5
    year_off: float = 0.06
    year_two_off: float = 0.005
    year_late: float = 0.7
    new_version: float = 0.025
    fitment_gap: float = 0.02
    gap_same_make: float = 0.85
    model_missing: float = 0.03
    missing_model_known: float = 0.4
    uncovered_weight: float = 0.10
    uncovered_same: float = 0.65
    uncovered_gap: float = 0.15
    share_concentration: float = 12.0
    push_early: float = 0.25
    push_late: float = 0.75
    second_hand: float = 0.05
    second_hand_alike: float = 0.5
    second_hand_unknown: float = 0.2
    new_case: float = 0.04
    new_case_other_layout: float = 0.4
    new_case_bare: float = 0.7
    worn: float = 0.25
    worn_text_bad: float = 0.45
    text_bad: float = 0.05
    no_label_read: float = 0.12
    worn_no_label_read: float = 0.5
    unlabelled_silent: float = 0.95
    other_thing: float = 0.015
    look: float = 0.004
    sound: float = 0.012
    mistaken: float = 0.0015
    lost: float = 0.002
    doubled: float = 0.001
    swapped: float = 0.002
    bad_factor: float = 10.0
    end_cut: float = 0.03
    phone_end_cut: float = 0.07
    head_cut: float = 0.01
    hyphen_dropped: float = 0.5
    hyphen_added: float = 0.03
    prefixed: float = 0.15
    button_missed: float = 0.01
    told_button_missed: float = 0.04
    button_imagined: float = 0.003
    told_button_imagined: float = 0.02
    hidden_missed: float = 0.10
    miscounted: float = 0.015
    told_miscounted: float = 0.06
    undercount: float = 0.7
    no_count: float = 0.02
    no_buttons: float = 0.04
    no_start: float = 0.01
    no_blade: float = 0.10
    no_radio: float = 0.10
    worn_no_radio: float = 0.30
    no_chip: float = 0.15
    featureless_silent: float = 0.95
    start_mixed: float = 0.02
    blade_mistaken: float = 0.03
    chip_mistaken: float = 0.015
    radio_sd_hz: float = 30e3
    radio_wide_sd_hz: float = 90e3
    radio_wide: float = 0.1
    radio_stray: float = 0.02
    sibling_number: float = 0.6
    sibling_grantee: float = 0.25
    keeps_layout: float = 0.7
    keeps_radio: float = 0.85
    keeps_blade: float = 0.9
    keeps_chip: float = 0.8


ERRORS = (
    "year_off", "year_two_off", "new_version", "fitment_gap", "model_missing", "second_hand", "new_case",
    "worn_text_bad", "text_bad", "other_thing", "look", "sound", "mistaken", "lost", "doubled", "swapped",
    "end_cut", "phone_end_cut", "head_cut", "button_missed", "told_button_missed", "button_imagined",
    "told_button_imagined", "hidden_missed", "miscounted", "told_miscounted", "start_mixed", "blade_mistaken",
    "chip_mistaken", "radio_wide", "radio_stray",
)  # fmt: skip
"""What is multiplied when a shop's error rates are doubled or halved; what cannot be had stays as it is."""


def scale_errors(habits: Habits, factor: float) -> Habits:
    """Return habits whose :data:`ERRORS` are ``factor`` times as frequent.

    >>> scale_errors(Habits(), 2.0).second_hand
    0.1
    """
    known = {field.name for field in fields(Habits)}
    if not set(ERRORS) <= known:
        raise ValueError(f"no such habits: {sorted(set(ERRORS) - known)}")
    return replace(habits, **{name: min(0.95, factor * getattr(habits, name)) for name in ERRORS})
