"""The job's log in words: who did what."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from bittern.bench.pages.keywords import HOW_WORDS as SEEN_HOW
from bittern.bench.pages.keywords import KIND_WORDS
from bittern.bench.pages.legs.promise import HOW_WORDS
from bittern.work.chain import LogEntry
from bittern.work.documents import DOCUMENTS
from bittern.work.lessons import WHY_REFUSED
from bittern.work.lines import WANT_WORDS

Payload = Mapping[str, object]


def describe_entry(entry: LogEntry) -> str:
    """Return one sentence for ``entry``; a kind unknown here is shown as it is stored."""
    words = _SENTENCES.get(entry.kind)
    return words(entry.payload) if words else f"{_plain(entry.kind)}. {list_payload(entry.payload)}".strip()


def list_payload(payload: Payload) -> str:
    """Return the rest of a payload as "word: value" pairs."""
    pairs = [
        f"{_plain(name).lower()}: {_say(value)}" for name, value in payload.items() if value not in ("", None)
    ]
    return "; ".join(pairs)


def _plain(name: str) -> str:
    return name.replace(".", ", ").replace("_", " ").replace("-", " ").capitalize()


def _say(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(_say(one) for one in value)
    return str(value)


def _authority(payload: Payload) -> str:
    seen = payload.get("documents")
    documents = [DOCUMENTS.get(str(one), str(one)) for one in seen] if isinstance(seen, list) else []
    return f"Recorded authority. Papers seen: {'; '.join(documents)}."


def _observed(payload: Payload) -> str:
    word = KIND_WORDS.get(str(payload.get("observation")), str(payload.get("observation")))
    if payload.get("value") is None:
        return f"Asked for “{word}”: it cannot be had."
    how = str(payload.get("how"))
    return f"Observed “{word}”: {_say(payload.get('value'))} ({SEEN_HOW.get(how, how)})."


def _chosen(payload: Payload) -> str:
    p = payload.get("probability")
    sure = f"{100 * p:.0f} % sure" if isinstance(p, int | float) else "chance not recorded"
    because = f", because: {payload['because']}" if payload.get("because") else ""
    return f"Took article {payload.get('article')} ({sure}){because}."


def _refused(payload: Payload) -> str:
    why = WHY_REFUSED.get(str(payload.get("why")), WHY_REFUSED["other"])[0]
    return f"Article {payload.get('article')} was the wrong one. {why} {payload.get('note') or ''}".strip()


def _accepted(payload: Payload) -> str:
    how = str(payload.get("how"))
    return f"The customer agreed {HOW_WORDS.get(how, how).lower()} to {payload.get('total')}."


def _vehicle(payload: Payload) -> str:
    named = " ".join(str(payload[part]) for part in ("make", "model", "year") if payload.get(part))
    doubt = f" Accepted because: {payload['because']}." if payload.get("because") else ""
    return f"Recorded the vehicle: {named or 'make open'} ({payload.get('vin') or 'no number'}).{doubt}"


def _run_event(payload: Payload) -> str:
    event = payload.get("event")
    event = event if isinstance(event, Mapping) else {}
    step, note = event.get("step", ""), event.get("note", "")
    with_whom = f", at the vehicle: {_say(event['present'])}" if event.get("present") else ""
    words = {
        "begun": "Ticked what must be true before the first step",
        "census": f"Counted the keys: {_say([key.get('name') for key in event.get('keys', [])])}",
        "supply": f"Read the supply: {event.get('volts')} V, {event.get('source')}",
        "confirmed": f"Confirmed the point of no return at “{step}”{with_whom}",
        "done": f"Step “{step}” done",
        "failed": f"Step “{step}” did not work; went on at “{event.get('to', '')}”",
        "chosen": f"Chose “{event.get('choice', '')}” at “{step}”",
        "abandoned": "Broke the run off",
    }
    kind = str(event.get("kind"))
    said = payload.get("device_said")
    clock = f" The device said {said}; its time was not possible and was moved." if said else ""
    return f"Run {payload.get('run')}: {words.get(kind, _plain(kind))}.{f' {note}' if note else ''}{clock}"


def _run_refused(payload: Payload) -> str:
    event = payload.get("event")
    event = event if isinstance(event, Mapping) else {}
    at = f" at “{event['step']}”" if event.get("step") else ""
    return f"Run {payload.get('run')}: refused {event.get('kind')}{at}. {payload.get('because')}"


def _say_volts(value: object) -> str:
    return f"{value:.2f} V" if isinstance(value, int | float) else "no voltage"


def _say_source(source: object) -> str:
    return "by the adapter" if source == "measured" else "typed in"


_MOMENTS = {
    "begin": "At the beginning of the run",
    "no-return": "At the point of no return",
    "end": "At the end of the run",
}


def _supply_noted(payload: Payload) -> str:
    now, least = payload.get("volts"), payload.get("least")
    parts = [f"the supply was {_say_volts(now)}"] if now is not None else []
    parts += [f"its lowest during the run {_say_volts(least)}"] if least is not None else []
    moment = str(payload.get("moment"))
    return f"{_MOMENTS.get(moment, _plain(moment))} {', '.join(parts)} (by the adapter)."


_VERDICTS = {
    "same": "It is the job's.",
    "other": "Stop: the job is for another number.",
    "disagree": "Stop: control units give different numbers.",
    "none-on-job": "The job has no number.",
}


def _number_read(payload: Payload) -> str:
    how = (
        "Read the number on board through the adapter"
        if payload.get("how") == "adapter"
        else ("Read the number on board at the vehicle and typed it in")
    )
    verdict = str(payload.get("verdict"))
    expected = f" The job says {payload.get('expected')}." if verdict in ("other", "disagree") else ""
    return f"{how}: {_say(payload.get('read'))}. {_VERDICTS.get(verdict, verdict)}{expected}"


_OUTCOMES = {
    "good": "the vehicle accepts the key",
    "unchanged": "the vehicle is as it was before",
    "stranded": "the vehicle does not start",
}

_RUNG_ANSWERS = {
    "no": "it did not turn",
    "spoilt": "that blank is spoilt",
    "back": "the entry before was a slip, taken back",
}


def _ladder_sources(payload: Payload) -> str:
    used = [
        word for name, word in (("table", "the code table"), ("reading", "readings")) if payload.get(name)
    ]
    return f"; from {' and '.join(used)} too" if used else ""


_SENTENCES: dict[str, Callable[[Payload], str]] = {
    "request.opened": lambda p: f"Opened the job: {WANT_WORDS.get(str(p.get('want')), p.get('want'))}.",
    "request.changed": lambda p: f"Changed the request: {_say(p.get('fields'))}.",
    "authority.recorded": _authority,
    "job.withdrawn": lambda p: f"Withdrew the job, because: {p.get('because')}.",
    "vehicle.recorded": _vehicle,
    "key.observed": _observed,
    "key.question-sent": lambda p: (
        f"Asked the customer: “{KIND_WORDS.get(str(p.get('question')), p.get('question'))}”."
    ),
    "key.struck": lambda p: (
        f"Struck “{KIND_WORDS.get(str(p.get('observation')), p.get('observation'))}”: {_say(p.get('value'))}."
    ),
    "key.chosen": _chosen,
    "key.refused": _refused,
    "promise.offered": lambda p: f"Offered the customer {p.get('total')} {p.get('currency')}.",
    "promise.accepted": _accepted,
    "picture.kept": lambda p: f"Kept a picture with the job, sealed ({p.get('name')}).",
    "picture.removed": lambda p: f"Destroyed {p.get('name')}, reason: {p.get('reason')}.",
    "seal.looked": lambda p: f"Looked at the sealed {p.get('name', 'value')}, reason: {p.get('reason')}.",
    "blade.reading-begun": lambda p: (
        f"Began to read the old key from a {p.get('how')} for {p.get('standard')}."
    ),
    "blade.read": lambda p: (
        f"Read the old key from its picture (scale: {p.get('scale')}), {p.get('doubts')} in doubt. Sealed."
    ),
    "blade.measured-again": lambda p: f"Measured on the old key again: cut {_say(p.get('cuts'))}.",
    "blade.edges-swapped": lambda p: "Took the other edge of the old key for edge A.",
    "blade.reading-dropped": lambda p: "Threw the reading of the old key away.",
    "blade.entered": lambda p: f"Sealed the bitting ({p.get('source')}) for {p.get('standard')}.",
    "cut.program": lambda p: (
        f"Took the program for {p.get('standard')}"
        f"{', edge ' + str(p.get('set_up')) if p.get('set_up') else ''}, with {p.get('cutter')} on"
        f" {p.get('machine')}."
    ),
    "ladder.planned": lambda p: (
        f"Planned ladders for {p.get('standard')}: {p.get('remaining')} bittings left, "
        f"blanks at most {p.get('blanks')}{_ladder_sources(p)}."
    ),
    "ladder.begun": lambda p: f"Began the ladders for {p.get('standard')} with {p.get('cutter')}.",
    "ladder.rung": lambda p: (
        f"Blank {p.get('blank')}, cutting {p.get('cutting')}: "
        f"{_RUNG_ANSWERS.get(str(p.get('answer')), p.get('answer'))}."
    ),
    "ladder.turned": lambda p: (
        f"Blank {p.get('blank')}, cutting {p.get('cutting')} turned. Blanks put aside: {p.get('wasted')}."
    ),
    "ladder.dropped": lambda p: (
        f"Gave the ladders up, because: {p.get('because')}. Blanks put aside: {p.get('wasted')}."
    ),
    "blade.cut": lambda p: f"Cut the blade {p.get('standard')} with {p.get('cutter')}.",
    "blade.inspection-measured": lambda p: (
        f"Measured the cut key from a {p.get('how')}"
        f"{', some cuts by caliper as well' if p.get('by_caliper') else ''}: {p.get('verdict')}"
        f"{'; seen: ' + _say(p.get('patterns')) if p.get('patterns') else ''}."
    ),
    "blade.inspected": lambda p: f"Inspected the cut key: {p.get('result')}. {p.get('note') or ''}".strip(),
    "number.read": _number_read,
    "number.accepted": lambda p: (
        f"Accepted the number on board {_say(p.get('read'))} although the job says "
        f"{p.get('expected') or 'none'}, because: {p.get('because')}."
    ),
    "supply.read": lambda p: (
        f"Read the supply: {_say_volts(p.get('volts'))} ({_say_source(p.get('source'))})."
    ),
    "supply.noted": _supply_noted,
    "pairing.begun": lambda p: f"Run {p.get('run')}: began run sheet {p.get('sheet')}.",
    "pairing.event": _run_event,
    "pairing.refused": _run_refused,
    "pairing.taken-over": lambda p: (
        f"Run {p.get('run')}: taken over on another device from {p.get('carried_by')}."
    ),
    "pairing.otherwise": lambda p: f"Paired without a run sheet: {p.get('because')}.",
    "pairing.ended": lambda p: (
        f"Run {p.get('run')} ended: {_OUTCOMES.get(str(p.get('outcome')), p.get('outcome'))}."
    ),
    "proof.answered": lambda p: (
        f"Test “{p.get('test')}” {'passed' if p.get('passed') else 'failed'}. {p.get('note') or ''}".strip()
    ),
    "handover.signed": lambda p: f"Handed over {p.get('keys_handed')} keys; signed.",
}
