"""Customers with their vehicle, the key they show, and what they would answer to every question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

import numpy as np

from simulated_shop.habits import Habits
from simulated_shop.misreading import SYMBOLS, draw_reading
from simulated_shop.pack import BLADES, CHIPS, FIRST_YEAR, HIDDEN, LAST_YEAR, Choice
from simulated_shop.table import (
    HYPHENED,
    PRODUCT_LENGTHS,
    STARTS,
    Floats,
    Table,
    p_push,
    split_start,
    weigh_year,
    weigh_years,
)

PHONE_KINDS = ("fcc_id", "button_count", "buttons", "start")
"""What can be asked on the telephone; nobody measures or compares a blade there."""
ALL_KINDS = (*PHONE_KINDS, "blade", "frequency_hz", "chip")
UNLISTED = "a model that the pack does not list"


@dataclass(frozen=True, slots=True)
class Key:
    """What a key is: one of the pack's articles (``article``), or something like none of them (empty)."""

    article: str
    label: str
    layout: frozenset[str]
    radio_hz: float
    blade: str
    chip: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What is said or measured; ``value`` None where it cannot be had."""

    value: str | int | float | tuple[str, ...] | None
    how: str


@dataclass(frozen=True, slots=True)
class Job:
    """One job as the shop meets it, and ``truth``: the article that the vehicle takes, None outside the pack.

    ``answers`` holds an answer for every kind that can be asked in this job; ``offered`` are those given
    before anybody asks. ``own_key`` says whether the key shown is of the vehicle's kind.
    """

    make: str
    model: str
    year: int | None
    year_sure: bool
    contact: str
    has_key: bool
    answers: Mapping[str, Answer]
    offered: tuple[str, ...]
    truth: str | None
    own_key: bool
    careless: bool


@dataclass(frozen=True, slots=True)
class _Vehicle:
    make: str
    model: str
    year: int
    start: int
    article: str | None


def draw_job(draw: Random, table: Table) -> Job:
    """Return the next customer."""
    habits = table.habits
    vehicle = _draw_vehicle(draw, table)
    careless = draw.random() < habits.careless
    factor = care_factor(habits, careless=careless)
    number = draw.random() < habits.number_given
    model_told = number or draw.random() >= habits.model_untold
    year_told = number or draw.random() >= habits.year_untold
    contact = draw.choices(
        ("phone", "vehicle", "counter"),
        (habits.by_phone, habits.at_vehicle, 1.0 - habits.by_phone - habits.at_vehicle),
    )[0]
    has_key = draw.random() >= habits.no_key
    own = _describe(table, vehicle.article) if vehicle.article else _draw_missing(draw, table, vehicle)
    second_hand = draw.random() < habits.second_hand
    key = _draw_second_hand(draw, table, vehicle, own) if second_hand else own
    answers = {"start": _answer_start(draw, habits, vehicle.start, contact, factor)}
    if has_key:
        every = _answer_key(draw, table, key, contact, factor)
        answers.update({kind: every[kind] for kind in list_kinds(contact) if kind != "start"})
    flags = {
        "start": draw.random() < habits.start_mentioned,
        "fcc_id": draw.random() < habits.label_offered,
        "button_count": draw.random() < habits.count_offered,
    }
    return Job(
        make=vehicle.make,
        model=vehicle.model if model_told else "",
        year=(vehicle.year if number else _tell_year(draw, habits, vehicle.year, factor))
        if year_told
        else None,
        year_sure=number,
        contact=contact,
        has_key=has_key,
        answers=answers,
        offered=tuple(kind for kind, flag in flags.items() if flag and kind in answers),
        truth=vehicle.article,
        own_key=not second_hand,
        careless=careless,
    )


def list_kinds(contact: str) -> tuple[str, ...]:
    """Return what can be asked over this contact, a key at hand."""
    return PHONE_KINDS if contact == "phone" else ALL_KINDS


def care_factor(habits: Habits, *, careless: bool) -> float:
    """Return by how much a customer's own errors are multiplied."""
    return habits.careless_factor if careless else habits.careful_factor


def _draw_vehicle(draw: Random, table: Table) -> _Vehicle:
    habits, models = table.habits, table.world.models
    if draw.random() < habits.model_missing:
        return _draw_unlisted(draw, table)
    model = draw.choices(models, [one.popularity for one in models])[0]
    years = weigh_years(model, habits)
    year = draw.choices(list(years), list(years.values()))[0]
    covered = year in model.years
    nearest = year if covered else model.years[-1]
    start = int(draw.random() < split_start(model, nearest, habits)[1])
    choices = model.cells[nearest, STARTS[start]]
    chance = draw.random()
    gap, new = habits.fitment_gap, habits.new_version
    if not covered:
        gap, new = habits.uncovered_gap, 1.0 - habits.uncovered_same - habits.uncovered_gap
    if chance < gap:
        article = _draw_article(draw, table, table.gap(model.make, start))
    elif chance < gap + new:
        article = None
    else:
        article = _draw_choice(draw, choices)
    return _Vehicle(model.make, model.name, year, start, article)


def _draw_choice(draw: Random, choices: tuple[Choice, ...]) -> str | None:
    """Return a listed article by its true share, or None for what the shares leave over."""
    left = draw.random()
    for one in choices:
        left -= one.true_share
        if left < 0.0:
            return one.article
    # Shares that sum to 1 leave nothing over but rounding.
    return None if sum(one.share for one in choices) < 0.9999 else choices[-1].article


def _draw_unlisted(draw: Random, table: Table) -> _Vehicle:
    makes = sorted({model.make for model in table.world.models})
    weights = [sum(model.popularity for model in table.world.models if model.make == make) for make in makes]
    make = draw.choices(makes, weights)[0]
    years = range(FIRST_YEAR, LAST_YEAR + 1)
    year = draw.choices(years, [weigh_year(year) for year in years])[0]
    start = int(draw.random() < p_push(year, table.habits))
    known = draw.random() < table.habits.missing_model_known
    article = _draw_article(draw, table, table.gap(make, start)) if known else None
    return _Vehicle(make, UNLISTED, year, start, article)


def _draw_article(draw: Random, table: Table, weights: Floats) -> str:
    place = int(np.searchsorted(np.cumsum(weights), draw.random() * float(weights.sum()), side="right"))
    return table.names[min(place, len(table.names) - 1)]


def _tell_year(draw: Random, habits: Habits, year: int, factor: float) -> int:
    chance = draw.random()
    one, two = habits.year_off * factor, habits.year_two_off * factor
    away = 2 if chance < two else 1 if chance < one + two else 0
    return year + (away if draw.random() < habits.year_late else -away)


def _describe(table: Table, article: str) -> Key:
    one = table.world.catalogue.articles[article]
    return Key(article, one.fcc_id, frozenset(one.buttons), one.frequency_hz or 0.0, one.blade, one.chip)


def _draw_missing(draw: Random, table: Table, vehicle: _Vehicle | None) -> Key:
    """Return a key that the pack does not have, derived from one that it has."""
    habits = table.habits
    weights = table.met["", -1] if vehicle is None else table.met[vehicle.make, vehicle.start]
    base = _describe(table, _draw_article(draw, table, weights))
    other = {name: draw_other(draw, table, name) for name in ("layout", "radio", "blade", "chip")}
    keeps = {
        "layout": draw.random() < habits.keeps_layout or not base.layout,
        "radio": draw.random() < habits.keeps_radio or not base.radio_hz,
        "blade": draw.random() < habits.keeps_blade or not base.blade,
        "chip": draw.random() < habits.keeps_chip or not base.chip,
    }
    return Key(
        article="",
        label=_draw_missing_label(draw, table, base.label) if base.label else "",
        layout=base.layout if keeps["layout"] else other["layout"],
        radio_hz=base.radio_hz if keeps["radio"] else other["radio"],
        blade=base.blade if keeps["blade"] else other["blade"],
        chip=base.chip if keeps["chip"] else other["chip"],
    )


def draw_other(draw: Random, table: Table, name: str) -> Any:
    """Return a value of a feature as it is met in the whole pack, among those that have the feature."""
    feature = table.features[name]
    pool = pool_of(table, name)
    place = int(np.searchsorted(np.cumsum(pool), draw.random() * float(pool.sum()), side="right"))
    return feature.values[min(place, len(feature.values) - 1)]


def pool_of(table: Table, name: str) -> Floats:
    """Return how often each value of a feature is met, empty ones aside; sums to 1."""
    feature = table.features[name]
    pool = np.bincount(feature.code, weights=table.met["", -1], minlength=len(feature.values))
    pool[[not value for value in feature.values]] = 0.0
    return np.asarray(pool / pool.sum(), dtype=np.float64)


def _draw_missing_label(draw: Random, table: Table, label: str) -> str:
    habits, chance = table.habits, draw.random()
    if chance < habits.sibling_number:
        taken = set(table.features["label"].values)
        digits = [i for i in range(len(label) - 1) if label[i : i + 2].isdigit()][-1]
        free = [
            one
            for number in range(100)
            if (one := f"{label[:digits]}{number:02d}{label[digits + 2 :]}") not in taken
        ]
        return draw.choice(free)
    body = "".join(draw.choice(SYMBOLS) for _ in range(draw.choice(PRODUCT_LENGTHS)))
    head = label[:3]
    if chance >= habits.sibling_number + habits.sibling_grantee:
        head = "".join(draw.choice(SYMBOLS) for _ in range(3))
    return f"{head}-{body}" if draw.random() < HYPHENED else head + body


def _draw_second_hand(draw: Random, table: Table, vehicle: _Vehicle, own: Key) -> Key:
    habits, chance = table.habits, draw.random()
    if chance < habits.second_hand_unknown:
        return _draw_missing(draw, table, None)
    if chance < habits.second_hand_unknown + habits.second_hand_alike:
        weights = table.met[vehicle.make, -1]
        if own.article:
            weights = weights * (table.kind == table.kind[table.place[own.article]])
        if weights.sum() > 0:
            return _describe(table, _draw_article(draw, table, weights))
    return _describe(table, _draw_article(draw, table, table.met["", -1]))


def _answer_start(draw: Random, habits: Habits, start: int, contact: str, factor: float) -> Answer:
    how = "seen" if contact == "vehicle" else "told"
    if draw.random() < habits.no_start:
        return Answer(None, how)
    wrong = how == "told" and draw.random() < habits.start_mixed * factor
    return Answer(STARTS[1 - start if wrong else start], how)


def _answer_key(draw: Random, table: Table, key: Key, contact: str, factor: float) -> dict[str, Answer]:
    """Return an answer to every question about the key."""
    habits, phone = table.habits, contact == "phone"
    worn, new_case = draw.random() < habits.worn, draw.random() < habits.new_case
    layout = key.layout
    if new_case and layout and draw.random() < habits.new_case_other_layout:
        layout = draw_other(draw, table, "layout")
    overlooked = frozenset({HIDDEN} if draw.random() < habits.hidden_missed else ())
    visible = layout - overlooked
    told, seen = ("told", "read-aloud") if phone else ("seen", "seen")
    return {
        "fcc_id": Answer(_answer_label(draw, table, key, phone, worn, new_case, factor), seen),
        "button_count": Answer(_count(draw, habits, len(visible), phone, factor), told),
        "buttons": Answer(_list_buttons(draw, habits, layout, visible, phone, factor), told),
        "blade": Answer(_name_blade(draw, habits, key.blade), "seen"),
        "frequency_hz": Answer(_measure(draw, table, key.radio_hz, worn), "measured"),
        "chip": Answer(_name_chip(draw, habits, key.chip), "measured"),
    }


def _answer_label(
    draw: Random, table: Table, key: Key, phone: bool, worn: bool, new_case: bool, factor: float
) -> str | None:
    habits = table.habits
    if not key.label:
        if draw.random() < habits.unlabelled_silent:
            return None
        return "".join(draw.choice(SYMBOLS[:10]) for _ in range(draw.choice(MOULDED_LENGTHS)))
    label = key.label
    if new_case:
        if draw.random() < habits.new_case_bare:
            return None
        label = str(draw_other(draw, table, "label"))
    if draw.random() < (habits.worn_no_label_read if worn else habits.no_label_read):
        return None
    bad = draw.random() < (habits.worn_text_bad if worn else habits.text_bad)
    if phone and draw.random() < habits.other_thing * factor:
        body = "".join(draw.choice(SYMBOLS) for _ in range(3 + draw.choice(PRODUCT_LENGTHS)))
        label = f"{body[:3]}-{body[3:]}" if draw.random() < HYPHENED else body
    return draw_reading(draw, label, habits, phone=phone, bad=bad)


MOULDED_LENGTHS = (5, 6, 7, 8)


def _count(draw: Random, habits: Habits, true: int, phone: bool, factor: float) -> int | None:
    if draw.random() < habits.no_count:
        return None
    wrong = habits.told_miscounted * factor if phone else habits.miscounted
    if draw.random() < wrong:
        return max(0, true + (-1 if draw.random() < habits.undercount else 1))
    return true


def _list_buttons(
    draw: Random, habits: Habits, layout: frozenset[str], visible: frozenset[str], phone: bool, factor: float
) -> tuple[str, ...] | None:
    if draw.random() < habits.no_buttons:
        return None
    missed, imagined = miss_rates(habits, phone=phone, factor=factor)
    said = {one for one in sorted(visible) if draw.random() >= missed}
    said |= {one for one in BUTTON_WORDS if one not in layout and draw.random() < imagined}
    return tuple(sorted(said))


BUTTON_WORDS = ("boot", "left door", "lock", HIDDEN, "right door", "start", "unlock")


def miss_rates(habits: Habits, *, phone: bool, factor: float) -> tuple[float, float]:
    """Return the chances that a button is overlooked, and that one is imagined."""
    if phone:
        return habits.told_button_missed * factor, habits.told_button_imagined * factor
    return habits.button_missed, habits.button_imagined


def _name_blade(draw: Random, habits: Habits, blade: str) -> str | None:
    if not blade:
        return None if draw.random() < habits.featureless_silent else draw.choice(BLADES)
    if draw.random() < habits.no_blade:
        return None
    if draw.random() < habits.blade_mistaken:
        return draw.choice([one for one in BLADES if one[:-1] == blade[:-1] and one != blade])
    return blade


def _name_chip(draw: Random, habits: Habits, chip: str) -> str | None:
    if not chip:
        return None if draw.random() < habits.featureless_silent else draw.choice(CHIPS)
    if draw.random() < habits.no_chip:
        return None
    if draw.random() < habits.chip_mistaken:
        return draw.choice([one for one in CHIPS if one != chip])
    return chip


def _measure(draw: Random, table: Table, radio_hz: float, worn: bool) -> float | None:
    habits = table.habits
    silent = habits.worn_no_radio if worn else habits.no_radio
    if draw.random() < (silent if radio_hz else habits.featureless_silent):
        return None
    if not radio_hz or draw.random() < habits.radio_stray:
        radio_hz = float(str(draw_other(draw, table, "radio")))
    wide = draw.random() < habits.radio_wide
    sd_hz = habits.radio_wide_sd_hz if wide else habits.radio_sd_hz
    return round(draw.gauss(radio_hz, sd_hz), -2)
