"""Tags and filters of the bench's templates: the state of a field, a chance as a bar, money and minutes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import template
from django.template import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.text import slugify

from bittern.bench.pages.latest import SEEN, mark_facts
from bittern.work.facts import JobFile

register = template.Library()


@dataclass(frozen=True, slots=True)
class Option:
    """One choice of a select or of a group of ticks."""

    value: str
    word: str
    chosen: bool
    id: str
    drawing: str = ""


@dataclass(frozen=True, slots=True)
class FieldState:
    """What a field partial shows: its id, the value typed so far, and what was wrong with it."""

    id: str
    value: str
    error: str
    described_by: str
    options: tuple[Option, ...]
    ticked: bool


def name_field(act: str, name: str, key: object = "") -> str:
    """Return the id of a field's input: of its act, its name, and the key that tells equal forms apart."""
    return "-".join(part for part in ("f", slugify(act), slugify(name), slugify(str(key))) if part)


@register.simple_tag
def seen(job: JobFile, act: str) -> SafeString:
    """Return the hidden field that tells which state of the job the form was drawn from."""
    return format_html('<input type="hidden" name="{}" value="{}">', SEEN, mark_facts(job, act))


@register.simple_tag(takes_context=True)
def field(context: Context) -> FieldState:
    """Return the state of the field ``act``/``name`` of an ``{% include "fields/…" %}``.

    What was typed comes before what is on record: ``typed[act][name]``, then ``value``, then ``initial``.
    """
    act, name = str(context.get("act", "")), str(context.get("name", ""))
    ident = "-".join(
        part for part in ("f", slugify(act), slugify(name), slugify(context.get("key") or "")) if part
    )
    error = ""
    if act == context.get("failed_act") and _same_form(context, act):
        error = str((context.get("errors") or {}).get(name, ""))
    found = _find_value(context, act, name)
    chosen = _as_list(found)
    described = [f"{ident}-help"] if context.get("help") else []
    described += [f"{ident}-error"] if error else []
    return FieldState(
        id=ident,
        value=chosen[0] if chosen else "",
        error=error,
        described_by=" ".join(described),
        options=tuple(_read_options(context.get("options"), chosen, ident, context.get("drawings") or {})),
        ticked=bool(chosen) and chosen[0] not in ("", "False"),
    )


def _same_form(context: Context, act: str) -> bool:
    """Tell whether this form is the one that was sent, where a page has several of one act."""
    key = context.get("key")
    sent = (context.get("typed") or {}).get(act, {})
    # ``keyed_by`` names the hidden field that tells several forms of one act apart.
    keyed_by = str(context.get("keyed_by") or "key")
    return not key or keyed_by not in sent or str(sent[keyed_by]) == str(key)


def _find_typed(context: Context, act: str) -> Mapping[str, object] | None:
    """Return what was typed into this form, sent just now or left as a draft; None where nothing was."""
    typed: Mapping[str, Mapping[str, object]] = context.get("typed") or {}
    if act in typed and _same_form(context, act):
        return typed[act]
    # One of several forms of this act, each with a draft of its own.
    return typed.get(f"{act}:{context.get('key')}")


def _find_value(context: Context, act: str, name: str) -> object:
    typed = _find_typed(context, act)
    # A form that was sent or drafted says everything about itself: a tick taken away is not there.
    if typed is not None:
        return typed.get(name, "")
    if "value" in context and context["value"] not in (None, ""):
        return context["value"]
    initial = context.get("initial") or {}
    of_act = initial.get(act)
    return (of_act if isinstance(of_act, Mapping) else initial).get(name, "")


def _as_list(found: object) -> list[str]:
    if found is None or found == "":
        return []
    if isinstance(found, str) or not isinstance(found, Iterable):
        return [str(found)]
    return [str(one) for one in found]


def _read_options(
    options: Any, chosen: list[str], ident: str, drawings: Mapping[str, str]
) -> Iterable[Option]:
    """Yield options given as a mapping value → word, as pairs, or as plain words; ``drawings`` by value."""
    pairs = (
        options.items() if isinstance(options, Mapping) else options if isinstance(options, Iterable) else ()
    )
    for place, pair in enumerate(pairs):
        value, word = (pair, pair) if isinstance(pair, str) else pair
        drawing = drawings.get(str(value), "")
        yield Option(str(value), str(word), str(value) in chosen, f"{ident}-{place}", drawing)


@register.filter
def percent(p: float) -> str:
    """Return a chance as a percentage that never claims certainty it has not.

    >>> percent(0.934), percent(0.9996), percent(0.0004), percent(1.0)
    ('93 %', 'over 99.9 %', 'under 0.1 %', '100 %')
    """
    if p in (0.0, 1.0):
        return f"{p:.0%}".replace("%", " %")
    if p > 0.999:
        return "over 99.9 %"
    if p < 0.001:
        return "under 0.1 %"
    return f"{100 * p:.1f} %" if p > 0.99 or p < 0.01 else f"{100 * p:.0f} %"


@register.filter
def money(amount: Decimal, currency: str = "") -> str:
    """Return an amount with two decimals and its currency."""
    return f"{amount:,.2f} {currency}".strip().replace(",", " ")


@register.filter
def minutes(amount: float | None) -> str:
    """Return minutes as a person says them.

    >>> minutes(42.4), minutes(95.0)
    ('42 min', '1 h 35 min')
    """
    if amount is None:
        return "not known"
    whole = round(amount)
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"


@register.filter
def minutes_up(amount: float | None) -> str:
    """Return minutes as a person says them, rounded up: what is promised is kept.

    >>> minutes_up(49.2)
    '50 min'
    """
    return minutes(None if amount is None else math.ceil(amount))


@register.filter
def get(mapping: Mapping[str, object], name: str) -> object:
    """Return ``mapping[name]`` or nothing."""
    return (mapping or {}).get(name, "")


@register.filter
def hundredths(p: float) -> str:
    """Return a chance as the width of its bar, in percent for SVG."""
    return f"{100 * min(1.0, max(0.0, p)):.2f}%"
