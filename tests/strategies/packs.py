"""Random packs that keep every rule of the format, texts as unpleasant as the rules allow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from typing import Any

from hypothesis import strategies as st

from bittern.engines.blade.soundness import find_standard_faults
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import MATERIALS, Cutter
from bittern.engines.key.catalogue import ARTICLE_KINDS, STARTS, Article, Fitment
from bittern.engines.pairing.sheet import CENSUSES, SIGNAL_KINDS, Failure, Option, RunSheet, Signal, Step
from bittern.engines.vehicle.pattern import NumberPattern
from bittern.formats.packs import Pack
from tests.strategies.blades import standards

VIN_CHARACTERS = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"

# Commas, quotes, line ends and foreign letters belong here: they are what breaks a table.
_SIGNS = st.one_of(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), st.sampled_from(",\"'\r\n\t;|#=[]{}\\")
)
free_texts = st.text(_SIGNS, max_size=12).map(str.strip)
texts = free_texts.filter(bool)
identifiers = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9._-]{0,10}", fullmatch=True)
words = st.from_regex(r"[a-z][a-z0-9-]{0,6}", fullmatch=True)
money = st.integers(0, 10**9).map(lambda cents: Decimal(cents) / 100)
lengths = st.floats(0.01, 100.0, allow_nan=False)
fcc_ids = st.one_of(
    st.just(""), st.from_regex(r"[2-9][A-Z2-9]{4}[A-Z0-9-]{1,14}", fullmatch=True),
    st.from_regex(r"[A-Z][A-Z2-9]{2}[A-Z0-9-]{1,14}", fullmatch=True),
)  # fmt: skip


@st.composite
def articles(draw: st.DrawFn, article: str, blades: Sequence[str]) -> Article:
    """Draw an article named ``article`` whose blade is one of ``blades`` or none."""
    return Article(
        article=article,
        title=draw(texts),
        kind=draw(st.sampled_from(ARTICLE_KINDS)),
        fcc_id=draw(fcc_ids),
        other_id=draw(free_texts),
        frequency_hz=draw(st.none() | st.floats(1e-3, 1e12, allow_nan=False)),
        modulation=draw(free_texts),
        buttons=tuple(draw(st.lists(words, max_size=4, unique=True))),
        blade=draw(st.sampled_from(["", *blades])),
        chip=draw(free_texts),
        battery=draw(free_texts),
        cost=draw(money),
        price=draw(money),
        supplier=draw(free_texts),
        notes=draw(free_texts),
    )


@st.composite
def fitments(draw: st.DrawFn, names: Sequence[str], sheets: Sequence[str], most: int) -> Fitment:
    """Draw a fitment whose share is at most ``1 / most``, so that ``most`` of them cannot pass the whole."""
    first = draw(st.integers(1900, 2100))
    return Fitment(
        make=draw(texts),
        model=draw(texts),
        year_from=first,
        year_to=draw(st.integers(first, 2100)),
        start=draw(st.sampled_from(STARTS)),
        trim=draw(free_texts),
        region=draw(free_texts),
        article=draw(st.sampled_from(names)),
        share=draw(st.floats(1e-6, 1 / most)),
        runsheet=draw(st.sampled_from(["", *sheets])),
    )


@st.composite
def cutters(draw: st.DrawFn, name: str = "drawn") -> Cutter:
    """Draw a sound cutter."""
    wheel = draw(st.booleans())
    return Cutter(
        id=name,
        kind="wheel" if wheel else "endmill",
        diameter_mm=draw(lengths),
        teeth=draw(st.integers(1, 200)),
        material=draw(st.sampled_from(MATERIALS)),
        flat_mm=draw(st.floats(0, 5)) if wheel else None,
        angle_deg=draw(st.floats(1, 179)) if wheel else None,
    )


@st.composite
def blades(draw: st.DrawFn, name: str = "drawn") -> BladeStandard:
    """Draw a sound blade standard with or without the optional rules."""
    standard = replace(draw(standards()), id=name, title=draw(texts))
    most = min(len(standard.depths_mm), len(standard.positions_mm))
    ruled = replace(
        standard,
        max_run=draw(st.none() | st.integers(1, 9)),
        min_distinct=draw(st.none() | st.integers(1, most)),
    )
    return standard if find_standard_faults(ruled) else ruled


@st.composite
def runsheets(draw: st.DrawFn, name: str = "drawn") -> RunSheet:
    """Draw a run sheet without faults: a row of steps, a choice, and two ends."""
    steps: dict[str, Step] = {}
    names = [*draw(st.lists(identifiers.map("s-{}".format), min_size=1, max_size=4, unique=True)), "which"]
    for here, after in pairwise(names):
        typical = draw(st.floats(0, 600))
        fails = (
            (Failure("stopped", draw(st.floats(0, 0.9)), draw(free_texts)),) if draw(st.booleans()) else ()
        )
        signal = Signal(draw(st.sampled_from(SIGNAL_KINDS)), draw(st.integers(1, 9)), draw(free_texts))
        steps[here] = Step(
            id=here,
            kind=draw(st.sampled_from(("act", "wait", "check"))),
            say=draw(texts),
            typical_s=typical,
            slowest_s=typical + draw(st.floats(0, 600)),
            then=after,
            fails=fails,
            signal=draw(st.none() | st.just(signal)),
            window_s=draw(st.none() | st.just(typical + 1)),
            no_return=draw(st.booleans()),
        )
    chance = draw(st.none() | st.floats(0.1, 0.9))
    options = (Option("on", "good", chance), Option("back", "stopped", None))
    steps["which"] = Step("which", "choose", draw(free_texts), options=options)
    steps["good"] = Step("good", "end", draw(free_texts), outcome="good")
    steps["stopped"] = Step("stopped", "end", "", outcome="stranded", recovery=draw(texts))
    needs = tuple(draw(st.lists(words, max_size=3, unique=True)))
    return RunSheet(name, draw(texts), names[0], draw(st.sampled_from(CENSUSES)), needs, steps)


@st.composite
def numbers(draw: st.DrawFn) -> NumberPattern:
    """Draw a number pattern, at times a low-volume maker's."""
    sign = st.sampled_from(VIN_CHARACTERS)
    first, second = draw(sign), draw(sign)
    third = draw(sign)
    wmi = first + second + third
    if third == "9":
        wmi += "".join(draw(st.tuples(sign, sign, sign)))
    vds = "".join(draw(st.lists(sign | st.just("*"), min_size=5, max_size=5)))
    return NumberPattern(
        wmi, vds, draw(texts), draw(texts), draw(free_texts), draw(st.sampled_from(["", *STARTS]))
    )


def _by_id(draw: st.DrawFn, make: Any) -> dict[str, Any]:
    return {name: draw(make(name)) for name in draw(st.lists(identifiers, max_size=2, unique=True))}


@st.composite
def packs(draw: st.DrawFn) -> Pack:
    """Draw a whole pack without faults."""
    standards_by_id, sheets_by_id = _by_id(draw, blades), _by_id(draw, runsheets)
    names = draw(st.lists(identifiers, min_size=1, max_size=3, unique=True))
    most = draw(st.integers(1, 4))
    rows = st.lists(
        fitments(names, list(sheets_by_id), most),
        max_size=most,
        unique_by=lambda row: (row.make.casefold(), row.model.casefold()),
    )
    return Pack(
        id=draw(identifiers),
        title=draw(texts),
        version=draw(texts),
        licence=draw(texts),
        source=draw(texts),
        region=draw(texts),
        currency=draw(st.from_regex(r"[A-Z]{3}", fullmatch=True)),
        articles={name: draw(articles(name, list(standards_by_id))) for name in names},
        fitments=tuple(draw(rows)),
        blades=standards_by_id,
        tools=_by_id(draw, cutters),
        runsheets=sheets_by_id,
        numbers=tuple(draw(st.lists(numbers(), max_size=3, unique_by=lambda row: (row.wmi, row.vds)))),
    )
