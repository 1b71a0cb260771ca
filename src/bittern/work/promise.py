"""The Promise leg: price from parts, labour and tax; time from the run sheet; what to bring."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from bittern.engines.pairing.census import list_what_to_bring
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.sheet import RunSheet
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import JobFile, PriceLine, Promise
from bittern.work.figures import get_figures, get_figures_with_bench
from bittern.work.people import Person
from bittern.work.ports import Desk, ShopTerms
from bittern.work.settled import needs_blade, needs_pairing
from bittern.work.sheets import find_shop_sheet

CENT = Decimal("0.01")
MOST_KEYS = 12
# The most that the bench takes, in typical times: common practice.
SLOW_DAY = 1.5
CUSTOMER_NEEDS = ("every-key", "old-key", "two-keys", "key-number")
# Needs that nobody can meet whose keys are all lost.
OLD_KEYS = ("old-key", "two-keys")
ANSWERS = ("in-person", "by-telephone", "in-writing")


@dataclass(frozen=True, slots=True)
class Duration:
    """Minutes of work: ``typical``, and ``slow`` for which time is left.

    At the vehicle the run sheet's times count. At the bench the shop's own figures do, and half as much again
    at the most: an assumption, until finished jobs have taught better. ``typical`` is the median of both
    together, ``slow`` the time that nine in ten do not exceed; without a run sheet it is the bench's most.
    """

    typical: float
    slow: float


def draw_promise(
    job: JobFile, sheet: RunSheet | None, terms: ShopTerms, currency: str, keys: int | None = None
) -> Promise:
    """Return price, time and what to bring for the chosen article.

    Parameters
    ----------
    job
        With an article chosen, else NotYetError.
    sheet
        The run sheet that pairs it; None when it needs no pairing or the pack has none.
    keys
        How many keys that work the customer says there are; None where nobody asked anew.
    """
    if job.key is None:
        raise NotYetError("no article", "the Key leg settled", where="promise")
    figures = get_figures(sheet) if sheet is not None and not find_sheet_faults(sheet) else None
    lines = [PriceLine(text=f"{job.key.title} ({job.key.article})", amount=job.key.price)]
    if needs_blade(job):
        lines.append(_price_labour("Cutting the blade", terms.cutting_minutes, terms))
    if needs_pairing(job):
        minutes = round(figures.time_mean_s / 60) if figures else 0
        if minutes:
            lines.append(_price_labour("Pairing at the vehicle", minutes, terms))
    # A key without a chip is tried in the locks just the same.
    lines.append(_price_labour("Trying the key", terms.proof_minutes, terms))
    net = sum((line.amount for line in lines), Decimal(0))
    tax = (net * terms.tax_percent / 100).quantize(CENT, ROUND_HALF_UP)
    time = _find_duration(job, sheet if figures else None, terms)
    keys = count_keys(job) if keys is None or job.request.want == "all-lost" else keys
    return Promise(
        lines=tuple(lines),
        currency=currency,
        net=net,
        tax=tax,
        total=net + tax,
        minutes_typical=time.typical if time else None,
        minutes_slow=time.slow if time else None,
        bring=list_to_bring(job, sheet, keys),
        keys=keys,
        keys_say=say_keys(sheet.census, keys) if sheet is not None else "",
    )


def count_keys(job: JobFile) -> int | None:
    """Return how many keys the vehicle has, new ones aside; None where nobody has said."""
    if job.request.want == "all-lost":
        return 0
    if job.pairing is not None and job.pairing.census:
        return sum(not key.new for key in job.pairing.census)
    return job.promise.keys if job.promise else None


def list_to_bring(job: JobFile, sheet: RunSheet | None, keys: int | None = None) -> tuple[str, ...]:
    """Return what the customer must bring, in plain words; which keys comes first."""
    bring = ["Photo identity and the vehicle's papers.", "The vehicle itself."]
    if sheet is not None:
        # Only what the customer holds; the shop sees to the other needs itself.
        theirs = tuple(need for need in sheet.needs if need in CUSTOMER_NEEDS)
        if sheet.census != "all":
            # What becomes of the keys is said in words of its own.
            bring[:0] = [line for line in [say_keys(sheet.census, keys)] if line]
            theirs = tuple(need for need in theirs if need != "every-key")
        if job.request.want == "all-lost":
            # Nobody is told to bring what is lost.
            theirs = tuple(need for need in theirs if need != "every-key")
        bring += list_what_to_bring(replace(sheet, needs=theirs, census="all"))
    return tuple(dict.fromkeys(bring))


def say_keys(census: str, keys: int | None) -> str:
    """Return which keys to bring and what becomes of the others, by the run sheet's census.

    >>> say_keys("present-only", 2)
    'Bring both keys: the one left at home will stop working.'
    >>> say_keys("all", 2)
    ''
    """
    if census == "new-only":
        if keys == 0:
            return "An old key that turns up later will not work: only new keys do."
        return "Every old key will stop working: only new keys work afterwards."
    if census != "present-only":
        return ""
    match keys:
        case None:
            return "Bring every key: one left at home will stop working."
        case 0:
            return "An old key that turns up later will not work until it is paired."
        case 1:
            return "Bring the key that you have: left at home it will stop working."
        case 2:
            return "Bring both keys: the one left at home will stop working."
        case _:
            return f"Bring all {keys} keys: each one left at home will stop working."


def say_promise(promise: Promise, *, paired: bool = True) -> str:
    """Return time and keys in one sentence, as it is said at the counter; empty where nothing is known.

    Only where the key is ``paired``, by a run sheet, are nine in ten known.

    >>> from decimal import Decimal
    >>> offer = {"lines": (), "currency": "EUR", "net": Decimal(0), "tax": Decimal(0), "total": Decimal(0)}
    >>> keys = say_keys("present-only", 2)
    >>> say_promise(Promise(**offer, minutes_typical=35.2, minutes_slow=49.6, keys_say=keys))
    '35 minutes, 9 in 10 under 50; bring both keys: the one left at home will stop working.'
    """
    if promise.minutes_typical is None or promise.minutes_slow is None:
        return promise.keys_say
    slow = math.ceil(promise.minutes_slow)
    most = f"9 in 10 under {slow}" if paired else f"{slow} on a slow day"
    time = f"{round(promise.minutes_typical)} minutes, {most}"
    return f"{time}; {promise.keys_say[:1].lower()}{promise.keys_say[1:]}" if promise.keys_say else f"{time}."


def find_sheet(desk: Desk, job: JobFile) -> RunSheet | None:
    """Return the run sheet in use for the chosen article, None where there is none that can be followed.

    Where every key is lost, a procedure that begins with a key that works cannot be.
    """
    sheet = find_shop_sheet(desk, job.key.runsheet) if job.key and job.key.runsheet else None
    lost = job.request.want == "all-lost" and sheet is not None and any(n in sheet.needs for n in OLD_KEYS)
    return None if lost else sheet


def offer_promise(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Draw up the promise and put it on record as offered: field keys (how many there are), if known."""
    entry = Entry(data)
    keys = entry.whole("keys", 0, MOST_KEYS)
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        sheet = find_sheet(desk, change.job)
        promise = draw_promise(change.job, sheet, desk.terms, desk.pack.currency, keys)
        change.put(promise=promise.model_copy(update={"offered_by": person.login, "offered_at": change.now}))
        change.log("promise.offered", total=str(promise.total), currency=promise.currency)


def accept_promise(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Record the customer's word: fields accepted_by (name), accepted_how."""
    entry = Entry(data)
    name = entry.text("accepted_by", required=True, expected="the name of the person who agreed", limit=80)
    how = entry.choice("accepted_how", ANSWERS)
    entry.finish()
    with changing(desk, number, person, "counter") as change:
        promise = change.job.promise
        if promise is None:
            raise NotYetError("no promise", "a price offered first", where="promise")
        change.put(
            promise=promise.model_copy(
                update={"accepted_by": name, "accepted_how": how, "accepted_at": change.now}
            )
        )
        change.log("promise.accepted", how=how, total=str(promise.total))


def _price_labour(text: str, minutes: int, terms: ShopTerms) -> PriceLine:
    amount = (terms.labour_per_hour * minutes / 60).quantize(CENT, ROUND_HALF_UP)
    return PriceLine(text=f"{text}, {minutes} min", amount=amount)


def _find_duration(job: JobFile, sheet: RunSheet | None, terms: ShopTerms) -> Duration | None:
    if needs_pairing(job) and sheet is None:
        return None
    fixed = float((terms.cutting_minutes if needs_blade(job) else 0) + terms.proof_minutes)
    if sheet is None:
        return Duration(fixed, SLOW_DAY * fixed)
    whole = get_figures_with_bench(sheet, 60 * fixed, 60 * SLOW_DAY * fixed)
    return Duration(round(whole.time_p50_s / 60, 1), round(whole.time_p90_s / 60, 1))
