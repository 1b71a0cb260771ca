"""Reasons in words: what each observation says about an article, and by how much it moved it."""

from __future__ import annotations

from bittern.core.channel import CONFUSIONS, SOUNDS
from bittern.engines.key.catalogue import Article
from bittern.engines.key.evidence import Observation, Vehicle
from bittern.engines.key.identifier import clean_reading
from bittern.engines.key.index import plain_name
from bittern.engines.key.posterior import Case

_LABEL = {
    "told": "the identifier told",
    "read-aloud": "the label as read aloud",
    "seen": "the label",
    "photographed": "the photographed label",
    "measured": "the identifier measured",
}
NAMES = {
    "fcc_id": "the identifier",
    "button_count": "the number of buttons",
    "buttons": "the buttons",
    "start": "the way it starts",
    "blade": "the blade",
    "frequency_hz": "the frequency",
    "chip": "the chip",
}


def describe_effect(factor: float) -> str:
    """Return in words how an observation changed an article's odds.

    Parameters
    ----------
    factor
        Odds with the observation divided by the odds without it. Odds, because a probability near 1 can
        hardly rise however good the evidence.

    Examples
    --------
    >>> describe_effect(6.2)
    'odds 6.2 times better than without'
    >>> describe_effect(0.25), describe_effect(1.01)
    ('odds 4 times worse than without', 'changes next to nothing')
    """
    if factor >= 1.05:
        return f"odds {_times(factor)} better than without"
    if factor <= 1 / 1.05:
        return f"odds {_times(1.0 / max(factor, 1e-300))} worse than without"
    return "changes next to nothing"


def name_vehicle(vehicle: Vehicle) -> str:
    """Return make, model and year as far as they are known."""
    year = "" if vehicle.year is None else str(vehicle.year)
    return " ".join(word for word in (vehicle.make, vehicle.model, year) if word)


def describe_listing(vehicle: Vehicle, p_before: float, *, listed: bool) -> str:
    """Return what the fitments say about an article before the key is looked at."""
    name = name_vehicle(vehicle) or "a vehicle of which neither make nor model is known"
    if not listed:
        return f"not listed for {name}: {say_chance(p_before)} before the key is looked at"
    return f"listed for {name}: {say_chance(p_before)} before the key is looked at"


def describe_outside(p_before: float) -> str:
    """Return what the fitments leave over for articles outside the pack."""
    return f"{say_chance(p_before)} take something that the pack does not have, before the key is looked at"


def describe_gaps(case: Case) -> list[str]:
    """Return what had to be assumed about the vehicle, in words."""
    vehicle, index = case.vehicle, case.index
    name = " ".join(word for word in (vehicle.make, vehicle.model) if word)
    groups = index.groups_of(vehicle.make, vehicle.model)
    gaps = []
    if not name:
        gaps.append("neither make nor model is known, so any vehicle of the pack is possible")
    elif not groups:
        gaps.append(f"the pack lists no {name}, so its article is most likely not in it")
    elif not (vehicle.make and vehicle.model):
        missing = "model" if vehicle.make else "make"
        gaps.append(f"the {missing} is not known, so any {name} of the pack is possible")
    if vehicle.year is None:
        gaps.append("the year is not known, so all listed years are equally likely")
    elif not vehicle.year_sure:
        gaps.append("the year was told and may be off by one")
    if groups and not any(one.observation.kind == "start" for one in case.judged):
        starts = case.prior.article.sum(axis=0)
        if float(starts.min()) > 0.1 * float(starts.sum()):
            gaps.append("turn and push start are equally likely where both are listed")
    return gaps


def describe_match(observation: Observation, article: Article | None) -> str:
    """Return what ``observation`` says about ``article``, or about none in the pack, without the effect."""
    name = NAMES[observation.kind]
    if observation.value is None:
        return f"{name} could not be had"
    if article is None:
        return f"{name}: {_value(observation)} ({observation.how})"
    if observation.kind == "fcc_id":
        return _identifier(observation, article)
    if observation.kind == "buttons":
        return _buttons(observation, article)
    if observation.kind == "button_count":
        return _count(observation, article)
    if observation.kind == "frequency_hz":
        return _frequency(observation, article)
    if observation.kind == "start":
        return f"the engine starts by {observation.value} ({observation.how})"
    own = article.blade if observation.kind == "blade" else article.chip
    if plain_name(own) == plain_name(str(observation.value)):
        return f"{name} is {own} ({observation.how}), as this article has it"
    return f"{name} is {observation.value} ({observation.how}), this article has {own or 'none'}"


def compare_labels(label: str, reading: str) -> str:
    """Return in words how a reading differs from a label.

    >>> compare_labels("KX4-HM22", "KX4-HM2Z")
    'reads one character apart from KX4-HM22; 2 and Z are easily mixed'
    >>> compare_labels("KX4-HM22", "KX4HM2")
    'reads like KX4-HM22 without its end'
    """
    true, read = (clean_reading(text).replace("-", "") for text in (label, reading))
    if true == read:
        same = clean_reading(label) == clean_reading(reading)
        return f"reads {label} in full" if same else f"reads {label} but for its hyphen"
    if true.startswith(read):
        return f"reads like {label} without its end"
    if true.endswith(read):
        return f"reads like {label} without its beginning"
    if len(true) == len(read):
        pairs = [(a, b) for a, b in zip(true, read, strict=True) if a != b]
        if len(pairs) == 2 and pairs[0] == pairs[1][::-1]:
            return f"reads like {label} with {pairs[0][0]} and {pairs[0][1]} in the other order"
        if len(pairs) <= 3:
            return f"reads {_apart(len(pairs))} from {label}{_alike(pairs)}"
    away = _edits(true, read)
    if away <= 3:
        return f"reads {_apart(away)} from {label}"
    return f"does not read like {label}"


def _identifier(observation: Observation, article: Article) -> str:
    label = _LABEL[observation.how]
    if not article.fcc_id:
        return f"{label} reads {observation.value}, this article has no FCC identifier"
    return f"{label} {compare_labels(article.fcc_id, str(observation.value))}"


def _buttons(observation: Observation, article: Article) -> str:
    value = observation.value if isinstance(observation.value, tuple) else ()
    seen = {plain_name(word) for word in value}
    has = {plain_name(word) for word in article.buttons}
    if seen == has:
        return f"the buttons ({observation.how}) are this article's: {', '.join(article.buttons) or 'none'}"
    parts = [f"this article has {word} too" for word in sorted(has - seen)]
    parts += [f"this article has no {word}" for word in sorted(seen - has)]
    return f"the buttons are {', '.join(sorted(seen)) or 'none'} ({observation.how}); {', '.join(parts)}"


def _count(observation: Observation, article: Article) -> str:
    own = len(article.buttons)
    said = f"{observation.value} buttons ({observation.how})"
    return f"{said}, as this article has" if observation.value == own else f"{said}, this article has {own}"


def _frequency(observation: Observation, article: Article) -> str:
    value = float(str(observation.value))
    said = f"{observation.how} at {_megahertz(value)}"
    if article.frequency_hz is None:
        return f"the frequency was {said}, this article has no radio"
    away_hz = abs(value - article.frequency_hz)
    distance = f"{away_hz / 1e3:.0f} kHz" if away_hz < 1e6 else f"{away_hz / 1e6:.1f} MHz"
    return f"the frequency was {said}, {distance} from this article's {_megahertz(article.frequency_hz)}"


def _value(observation: Observation) -> str:
    value = observation.value
    if isinstance(value, tuple):
        return ", ".join(value) or "none"
    if observation.kind == "frequency_hz":
        return _megahertz(float(str(value)))
    return str(value)


def _megahertz(value: float) -> str:
    return f"{value / 1e6:.6f}".rstrip("0").rstrip(".") + " MHz"


def _times(factor: float) -> str:
    if factor > 1000:
        return "over 1000 times"
    return f"{factor:.0f} times" if factor >= 9.5 else f"{factor:.1f} times".replace(".0 times", " times")


def say_chance(p: float) -> str:
    """Return a probability in words, never rounded to a certainty.

    >>> say_chance(0.634), say_chance(0.004), say_chance(0.999)
    ('63 in 100', 'less than 1 in 100', 'more than 99 in 100')
    """
    if 0.0 < p < 0.01:
        return "less than 1 in 100"
    if 0.995 <= p < 1.0:
        return "more than 99 in 100"
    return f"{100 * p:.0f} in 100"


def _apart(count: int) -> str:
    return {1: "one character apart", 2: "two characters apart", 3: "three characters apart"}[count]


def _alike(pairs: list[tuple[str, str]]) -> str:
    words = []
    for a, b in pairs:
        if any(a in group and b in group for group in CONFUSIONS):
            words.append(f"{a} and {b} are easily mixed")
        elif any(a in group and b in group for group in SOUNDS):
            words.append(f"{a} and {b} sound alike")
    return f"; {', '.join(words)}" if words else ""


def _edits(a: str, b: str) -> int:
    """Return the number of characters to change, add or leave out between two texts."""
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        last, row[0] = row[0], i
        for j, y in enumerate(b, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (x != y))
    return row[len(b)]
