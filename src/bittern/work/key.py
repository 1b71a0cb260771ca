"""The Key leg: observations are gathered, articles weighed, one is chosen."""

from __future__ import annotations

import math
from collections.abc import Mapping

from bittern.engines.key.catalogue import STARTS
from bittern.engines.key.errors import ObservationError
from bittern.engines.key.evidence import HOWS, KEY_KINDS, KINDS, Vehicle, check_observation
from bittern.engines.key.identification import Identification, identify
from bittern.work.asking import drop_asked
from bittern.work.change import Change, changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import UNCUT, JobFile, KeyChoice, Plain, Refused, Seen
from bittern.work.learning import load_learnt, say_learnt
from bittern.work.lessons import OTHER_REASON, WHY_REFUSED, to_observation
from bittern.work.people import Person
from bittern.work.ports import Desk

MOST_OBSERVATIONS = 50


def weigh(desk: Desk, job: JobFile) -> Identification:
    """Return how probable each article is for ``job``, and what to ask next; raises NotYetError."""
    if job.vehicle is None:
        raise NotYetError("no vehicle", "the Vehicle leg settled", where="key")
    v = job.vehicle
    vehicle = Vehicle(
        vin=v.vin if v.valid else "",
        make=v.make,
        model=v.model,
        year=v.year,
        # A valid number carries the model year itself; a year that was told may be off by one.
        year_sure=v.valid and v.source != "told",
        start=v.start,
        refused=tuple((one.article, WHY_REFUSED.get(one.why, OTHER_REASON)[1]) for one in job.refused),
    )
    seen = [to_observation(one) for one in job.observations]
    learnt = load_learnt(desk)
    index, rates = (learnt.index, learnt.rates) if learnt else (desk.pack.key_index, None)
    # Who has lost every key has none to look at: that is asked of nobody, and says nothing.
    unavailable = KEY_KINDS if job.request.want == "all-lost" else ()
    found = identify(
        index, vehicle, seen, desk.terms.costs, desk.terms.bar, rates=rates, unavailable=unavailable
    )
    return say_learnt(learnt, vehicle, found, job)


def add_observation(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Add one observation: fields kind, how, and value (a list for buttons), mhz or cannot (in vain)."""
    entry = Entry(data)
    kind = entry.choice("kind", KINDS)
    how = entry.choice("how", HOWS)
    cannot = entry.flag("cannot")
    value = None if cannot or not kind else _read_value(entry, kind)
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        if len(change.job.observations) >= MOST_OBSERVATIONS:
            entry.fault(
                "kind", f"{MOST_OBSERVATIONS} observations", "fewer; strike those that no longer hold"
            )
        seen = Seen(kind=kind, value=value, how=how, by=person.login, at=change.now)
        try:
            check_observation(to_observation(seen))
        except ObservationError as error:
            entry.fault("value", error.found, error.expected)
        entry.finish()
        if change.job.asked:
            # What the customer was asked about this is answered, be it by the same word once more.
            change.put(asked=drop_asked(change.job, kind))
        if any(
            (o.kind, o.value, o.how) == (seen.kind, seen.value, seen.how) for o in change.job.observations
        ):
            # The same thing read again in the same way, or sent twice, is no further evidence.
            return
        change.put(observations=(*change.job.observations, seen))
        change.log("key.observed", observation=kind, value=value, how=how)


def strike_observation(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Strike an observation that does not hold: field position, counted from 1."""
    entry = Entry(data)
    position = entry.whole("position", 1, MOST_OBSERVATIONS, required=True)
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        seen = change.job.observations
        if position is None or position > len(seen):
            entry.fault("position", str(position), f"1 to {len(seen)}")
            entry.finish()
            return
        struck = seen[position - 1]
        change.put(observations=seen[: position - 1] + seen[position:])
        change.log("key.struck", observation=struck.kind, value=struck.value)


def choose_article(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Take an article: fields article, because (required where the weighing has not settled on it)."""
    entry = Entry(data)
    chosen = entry.text("article", required=True, expected="an article of the pack")
    because = entry.text("because", limit=500)
    if chosen and chosen not in desk.pack.articles:
        entry.fault("article", chosen, "an article of the pack")
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        found = weigh(desk, change.job)
        probability = next((c.probability for c in found.candidates if c.article == chosen), 0.0)
        settled = found.settled and found.order == chosen
        if not settled and not because:
            entry.fault(
                "because",
                f"no reason, at {100 * probability:.0f} % for this article",
                f"a further question answered, or the reason why it is taken below the bar of"
                f" {100 * desk.terms.bar:.0f} %",
            )
            entry.finish()
        _take(desk, change, chosen, probability, settled=settled, because="" if settled else because)


def refuse_article(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Say that the article taken is wrong for this vehicle: fields why (pairing, blade, other), note."""
    entry = Entry(data)
    why = entry.choice("why", tuple(WHY_REFUSED))
    note = entry.text(
        "note", required=why == "other", expected="what showed that it is the wrong one", limit=500
    )
    entry.finish()
    with changing(desk, number, person, "bench") as change:
        key = change.job.key
        if key is None:
            raise NotYetError("no article taken", "the article that turned out wrong", where="key")
        refused = Refused(article=key.article, why=why, note=note, by=person.login, at=change.now)
        change.put(refused=(*change.job.refused, refused), key=None)
        # What was promised, cut, paired and proven was for that article; the bitting is the vehicle's.
        change.put(promise=None, pairing=None, proof=())
        if change.job.blade is not None:
            change.put(blade=change.job.blade.model_copy(update=UNCUT))
        change.log("key.refused", article=key.article, why=why, note=note)


def find_runsheet(desk: Desk, job: JobFile, article: str) -> str:
    """Return the id of the run sheet by which ``article`` is paired to the job's vehicle, or ""."""
    v = job.vehicle
    if v is None:
        return ""
    rows = [f for f in desk.pack.key_index.rows_of_article(article) if f.runsheet]
    fits = [f for f in rows if (f.make, f.model) == (v.make, v.model)]
    in_year = [f for f in fits if v.year is None or f.year_from <= v.year <= f.year_to]
    for group in (in_year, fits, rows):
        if len({f.runsheet for f in group}) == 1:
            return group[0].runsheet
    # Several procedures could apply: the person decides, nothing is guessed.
    return ""


def _take(
    desk: Desk, change: Change, article_id: str, probability: float, *, settled: bool, because: str
) -> None:
    article = desk.pack.articles[article_id]
    choice = KeyChoice(
        article=article.article,
        title=article.title,
        kind=article.kind,
        buttons=article.buttons,
        blade=article.blade,
        chip=article.chip,
        battery=article.battery,
        price=article.price,
        cost=article.cost,
        runsheet=find_runsheet(desk, change.job, article_id) if article.kind != "mechanical" else "",
        probability=probability,
        settled=settled,
        accepted_because=because,
        by=change.person.login,
        at=change.now,
    )
    before = change.job.key
    # What was still asked is of no more use: nothing waits for it.
    change.put(key=choice, asked=())
    if before is not None and before.article != article_id:
        # Another article: what was promised, cut, paired and proven was for the old one.
        change.put(promise=None, pairing=None, proof=())
        blade = change.job.blade
        if before.blade != choice.blade:
            change.put(blade=None)
        elif blade is not None:
            # The bitting is the vehicle's and stands; the metal that was cut is another article's.
            change.put(blade=blade.model_copy(update=UNCUT))
    elif before is None and change.job.blade is not None and change.job.blade.standard != choice.blade:
        # After a refusal: the bitting on record is of the refused article's blade standard.
        change.put(blade=None)
    change.log("key.chosen", article=article_id, probability=round(probability, 6), because=because)


def _read_value(entry: Entry, kind: str) -> Plain:
    match kind:
        case "buttons":
            return list(entry.words("value", expected="at least one button"))
        case "button_count":
            return entry.whole("value", 0, 20, required=True)
        case "start":
            return entry.choice("value", STARTS)
        case "frequency_hz":
            return _read_frequency_hz(entry)
        case _:
            return entry.text("value", required=True, expected="what was read", limit=100)


def _read_frequency_hz(entry: Entry) -> float | None:
    """Return hertz from ``mhz`` (a form) or ``value`` (a file)."""
    mhz, hz = entry.text("mhz", limit=20), entry.text("value", limit=20)
    text, factor, name = (mhz, 1e6, "mhz") if mhz else (hz, 1.0, "value")
    try:
        value = float(text.replace(",", ".")) * factor
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value <= 0:
        entry.fault(name, text or "nothing", "a frequency above 0, such as 433.92 MHz")
        return None
    return value
