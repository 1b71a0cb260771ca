"""The Promise leg: price from parts, labour and tax; time from the run sheet; what to bring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

from bittern.engines.pairing.census import list_what_to_bring
from bittern.engines.pairing.chain import SheetFigures
from bittern.engines.pairing.check import find_sheet_faults
from bittern.engines.pairing.sheet import RunSheet
from bittern.work.change import changing
from bittern.work.entry import Entry
from bittern.work.errors import NotYetError
from bittern.work.facts import JobFile, PriceLine, Promise
from bittern.work.figures import get_figures
from bittern.work.people import Person
from bittern.work.ports import Desk, ShopTerms
from bittern.work.settled import needs_blade, needs_pairing

CENT = Decimal("0.01")
# Bench time on a slow day, in typical times: common practice.
SLOW_DAY = 1.5
CUSTOMER_NEEDS = ("every-key", "old-key", "two-keys", "key-number")
# Needs that nobody can meet whose keys are all lost.
OLD_KEYS = ("old-key", "two-keys")
ANSWERS = ("in-person", "by-telephone", "in-writing")


@dataclass(frozen=True, slots=True)
class Duration:
    """Minutes of work: ``typical``, and ``slow`` for which time is left.

    At the vehicle these are the run sheet's median and its ninth decile. At the bench the shop's own figures
    count, and half as much again when slow: an assumption, until finished jobs have taught better.
    """

    typical: float
    slow: float


def draw_promise(job: JobFile, sheet: RunSheet | None, terms: ShopTerms, currency: str) -> Promise:
    """Return price, time and what to bring for the chosen article.

    Parameters
    ----------
    job
        With an article chosen, else NotYetError.
    sheet
        The run sheet that pairs it; None when it needs no pairing or the pack has none.
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
    time = _find_duration(job, figures, terms)
    return Promise(
        lines=tuple(lines),
        currency=currency,
        net=net,
        tax=tax,
        total=net + tax,
        minutes_typical=time.typical if time else None,
        minutes_slow=time.slow if time else None,
        bring=list_to_bring(job, sheet),
    )


def list_to_bring(job: JobFile, sheet: RunSheet | None) -> tuple[str, ...]:
    """Return what the customer must bring, in plain words."""
    bring = ["Photo identity and the vehicle's papers.", "The vehicle itself."]
    if sheet is not None:
        # Only what the customer holds; the shop sees to the other needs itself.
        theirs = tuple(need for need in sheet.needs if need in CUSTOMER_NEEDS)
        held = replace(sheet, needs=theirs)
        if job.request.want == "all-lost" and sheet.census == "present-only":
            # Nobody is told to bring what is lost.
            held = replace(held, needs=tuple(n for n in theirs if n != "every-key"), census="all")
        bring += list_what_to_bring(held)
    return tuple(dict.fromkeys(bring))


def find_sheet(desk: Desk, job: JobFile) -> RunSheet | None:
    """Return the pack's run sheet for the chosen article, None where there is none that can be followed.

    Where every key is lost, a procedure that begins with a key that works cannot be.
    """
    sheet = desk.pack.runsheets.get(job.key.runsheet) if job.key and job.key.runsheet else None
    lost = job.request.want == "all-lost" and sheet is not None and any(n in sheet.needs for n in OLD_KEYS)
    return None if lost else sheet


def offer_promise(desk: Desk, number: int, person: Person, data: Mapping[str, object]) -> None:
    """Draw up the promise and put it on record as offered."""
    del data
    with changing(desk, number, person, "counter") as change:
        promise = draw_promise(change.job, find_sheet(desk, change.job), desk.terms, desk.pack.currency)
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


def _find_duration(job: JobFile, figures: SheetFigures | None, terms: ShopTerms) -> Duration | None:
    if needs_pairing(job) and figures is None:
        return None
    fixed = (terms.cutting_minutes if needs_blade(job) else 0) + terms.proof_minutes
    if figures is None:
        return Duration(float(fixed), SLOW_DAY * fixed)
    return Duration(
        round(fixed + figures.time_p50_s / 60, 1), round(SLOW_DAY * fixed + figures.time_p90_s / 60, 1)
    )
