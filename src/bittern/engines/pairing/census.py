"""The key census: which keys exist, which are here, and which will work after each outcome."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bittern.engines.pairing.sheet import RunSheet

if TYPE_CHECKING:
    from bittern.engines.pairing.event import RunState

NEED_WORDS = {
    "authority": "Proof that you may have a key to this vehicle.",
    "every-key": "Every key and remote of the vehicle: the ones left at home stop working.",
    "old-key": "One key that works now.",
    "two-keys": "Two keys that work now.",
    "new-key": "The new key, cut and tried in the locks.",
    "steady-supply": "A supply that keeps the vehicle's battery steady while the keys are paired.",
    "code-from-maker": "The code that the vehicle's maker gives to those who may have it.",
    "doors-closed": "All doors, the boot and the bonnet closed.",
    "parking-brake": "The parking brake set.",
    "engine-off": "The engine off.",
    "fresh-battery": "A fresh battery in every remote.",
    "vehicle-inside": "The vehicle under a roof, away from other vehicles' remotes.",
    "quiet-air": "No other remotes and transmitters in use nearby.",
    "network": "A network connection for the maker's own service.",
    "maker-tool": "The maker's authorised equipment, with somebody licensed to use it.",
    "vehicle": "The vehicle itself.",
    "key-number": "The number on the key's tag or in the vehicle's papers.",
    "time": "Enough time: once begun, the procedure should not be broken off.",
}


@dataclass(frozen=True, slots=True)
class KeyInHand:
    """One key of the vehicle as it stands before the pairing.

    Attributes
    ----------
    name
        What people call it: "the owner's", "the valet key", "the new one".
    present
        Whether it is here, at the vehicle.
    works_before
        Whether it works now; None where nobody could try.
    new
        Whether it is the one to be paired.
    """

    name: str
    present: bool
    works_before: bool | None = None
    new: bool = False


@dataclass(frozen=True, slots=True)
class KeyForecast:
    """What becomes of one key: ``works`` is None where only a trial can tell; ``because`` says why."""

    name: str
    works: bool | None
    because: str


def word_need(need: str) -> str:
    """Return ``need`` as a sentence for a person.

    >>> word_need("doors-closed"), word_need("spare-fuse")
    ('All doors, the boot and the bonnet closed.', 'Spare fuse.')
    """
    known = NEED_WORDS.get(need)
    if known:
        return known
    words = need.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "!", "?")) else ".")


def list_what_to_bring(sheet: RunSheet) -> list[str]:
    """Return what must be at the vehicle before the first step, as sentences, without doubles.

    What the census asks for comes first, whether or not the needs say it too: a key left at home is the
    mistake that cannot be mended afterwards.

    Examples
    --------
    >>> from bittern.engines.pairing.sheet import RunSheet
    >>> list_what_to_bring(RunSheet("a", "A", "x", "present-only", needs=("every-key", "engine-off")))
    ['Every key that should still work: keys that are not here stop working.', 'The engine off.']
    """
    lines: list[str] = []
    needs = list(sheet.needs)
    if sheet.census == "present-only":
        lines.append("Every key that should still work: keys that are not here stop working.")
        needs = [need for need in needs if need != "every-key"]
    elif sheet.census == "new-only":
        lines.append("Nothing of the old keys is kept: only new keys will work, so bring one for everybody.")
        needs = [need for need in needs if need != "every-key"]
    return list(dict.fromkeys(lines + [word_need(need) for need in needs]))


def find_census_gaps(sheet: RunSheet, keys: Sequence[KeyInHand]) -> list[str]:
    """Return why ``keys`` do not allow a point of no return to be passed; empty when they do.

    The vehicle must be left with a key that works if all goes well.
    """
    gaps: list[str] = []
    names = [key.name.strip() for key in keys]
    if not keys:
        gaps.append("No key is in the census.")
    if any(not name for name in names):
        gaps.append("A key in the census has no name.")
    doubles = [name for name in dict.fromkeys(names) if name and names.count(name) > 1]
    gaps += [f"Two keys are called {name}." for name in doubles]
    if sheet.census == "new-only" and not any(key.present and key.new for key in keys):
        gaps.append("Only new keys will work, and no new key is here.")
    elif keys and not any(key.present for key in keys):
        gaps.append("No key of the census is here.")
    return gaps


def find_lost_keys(sheet: RunSheet, keys: Sequence[KeyInHand]) -> list[str]:
    """Return the names of the keys that may work now and will not once the sheet has ended well."""
    after = predict_census(sheet, keys, "good", passed_no_return=True)
    return [
        key.name
        for key, forecast in zip(keys, after, strict=True)
        if forecast.works is False and key.works_before is not False and not key.new
    ]


def predict_census(
    sheet: RunSheet,
    keys: Sequence[KeyInHand],
    outcome: str,
    *,
    passed_no_return: bool,
    surely: bool = True,
) -> list[KeyForecast]:
    """Return for every key whether it will work once the run has ended.

    Parameters
    ----------
    sheet
        The run sheet; its ``census`` rules after a good end.
    keys
        The census taken before.
    outcome
        ``good``, ``unchanged``, ``stranded``, or empty for a run that was given up.
    passed_no_return
        Whether a point of no return was passed, or may have been.
    surely
        False where it only may have been.

    Returns
    -------
    list of KeyForecast
        In the order of ``keys``.

    Notes
    -----
    A forecast, not a proof: it trusts the sheet and that every new key was good. Keys are tried afterwards.
    """
    return [
        KeyForecast(key.name, *_predict_key(sheet, key, outcome, passed_no_return, surely)) for key in keys
    ]


def predict_as_it_stands(sheet: RunSheet, state: RunState) -> list[KeyForecast]:
    """Return for every key of the last census whether it works if nothing more is done, as the run stands.

    Notes
    -----
    A point of no return that was left ``done`` or ``chosen`` was passed. One that was left ``failed``, and
    one that is confirmed and not yet left, may have been: only a trial can tell what the act has done.
    """
    surely = any(sheet.steps[one.step_id].no_return and one.how != "failed" for one in state.history)
    return predict_census(
        sheet,
        state.keys or (),
        state.outcome,
        passed_no_return=state.passed_no_return or state.confirmed,
        surely=surely,
    )


def _predict_key(
    sheet: RunSheet, key: KeyInHand, outcome: str, passed_no_return: bool, surely: bool
) -> tuple[bool | None, str]:
    if outcome == "good":
        return _predict_after_good(sheet, key)
    if outcome == "unchanged" or (outcome == "" and not passed_no_return):
        if key.new and not key.works_before:
            return (False, "It was not paired.") if outcome else (None, "The run was given up: try it.")
        return key.works_before, "Nothing has changed for it."
    if not passed_no_return:
        if key.new and not key.works_before:
            return False, "The run ended before it was paired."
        return None, "The vehicle is stranded; its keys were not touched, so try it once the vehicle is back."
    if outcome == "stranded":
        return False, "Stranded after a point of no return: no key works until the vehicle is recovered."
    if not surely:
        return None, "A point of no return may have been passed: try it."
    if sheet.census == "present-only" and not key.present:
        return False, "It was not here when a point of no return was passed."
    if sheet.census == "new-only" and not key.new:
        return False, "Old keys stopped working at the point of no return."
    return None, "The run was given up after a point of no return: try it."


def _predict_after_good(sheet: RunSheet, key: KeyInHand) -> tuple[bool | None, str]:
    if key.new and key.present:
        return True, "It was paired."
    if key.new and not (sheet.census == "all" and key.works_before):
        return False, "It was not here to be paired."
    if sheet.census == "all":
        return key.works_before, "This procedure leaves old keys as they were."
    if sheet.census == "new-only":
        return False, "Only new keys work after this procedure."
    if not key.present:
        return False, "It was not here, and only keys that are here work after this procedure."
    if key.works_before is None:
        return None, "It was here, and nobody could try it before: try it."
    if key.works_before is False:
        return None, "It was here and did not work before: try it."
    return True, "It was here."
