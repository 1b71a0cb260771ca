"""What the customer is told: how long, and what becomes of the keys, by the run sheet and their count."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bittern.engines.pairing.sheet import Step
from bittern.work.errors import FieldsError
from bittern.work.figures import get_figures, get_figures_with_bench
from bittern.work.handover import ABSENT, compose_sheet
from bittern.work.promise import draw_promise, find_sheet, say_keys, say_promise
from tests.engines.pairing.simulation import simulate
from tests.strategies.sheets import make_sheet
from tests.work.conftest import DESK, Bench

TWO_OLD = {
    "key-1-name": "Daily",
    "key-1-present": "yes",
    "key-1-worked": "yes",
    "key-2-name": "At home",
    "key-2-worked": "yes",
    "customer_knows": "yes",
}


def offer(bench: Bench, **data: str) -> None:
    article = bench.carry_to_key()
    bench.do("choose-article", {"article": article, "because": "The same as the working key."}, DESK)
    bench.do("offer", data, DESK)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({}, "Bring every key: one left at home will stop working."),
        ({"keys": "1"}, "Bring the key that you have: left at home it will stop working."),
        ({"keys": "2"}, "Bring both keys: the one left at home will stop working."),
        ({"keys": "4"}, "Bring all 4 keys: each one left at home will stop working."),
    ],
)
def test_the_keys_to_bring_are_counted(bench: Bench, data: dict[str, str], words: str) -> None:
    offer(bench, **data)
    promise = bench.job.promise
    assert promise is not None
    assert promise.bring[0] == promise.keys_say == words
    assert promise.minutes_typical is not None and promise.minutes_slow is not None
    said = say_promise(promise)
    assert said.startswith(f"{round(promise.minutes_typical)} minutes, 9 in 10 under ")
    assert said.endswith("; b" + words[1:])


def test_a_count_that_cannot_be_is_said_beside_its_field(bench: Bench) -> None:
    with pytest.raises(FieldsError) as caught:
        offer(bench, keys="many")
    assert list(caught.value.fields) == ["keys"]
    assert bench.job.promise is None


def test_a_count_once_given_is_kept_until_the_keys_are_counted_at_the_vehicle(bench: Bench) -> None:
    offer(bench, keys="3")
    bench.do("offer", {}, DESK)
    assert bench.job.promise is not None
    assert bench.job.promise.keys == 3
    bench.do("offer", {"keys": "2"}, DESK)
    assert bench.job.promise.keys == 2


def test_the_count_at_the_vehicle_goes_before_what_was_said(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**TWO_OLD)
    sheet = find_sheet(bench.desk, bench.job)
    assert draw_promise(bench.job, sheet, bench.desk.terms, "EUR").keys_say == say_keys("present-only", 2)


@pytest.mark.parametrize("census", ["all", "present-only", "new-only"])
def test_who_has_lost_every_key_is_told_to_bring_none(bench: Bench, census: str) -> None:
    offer(bench, keys="0")
    bench.do("change-request", {"want": "all-lost", "customer": "Ilse Peatridge"}, DESK)
    sheet = replace(bench.desk.pack.runsheets[bench.job.key.runsheet], census=census)  # type: ignore[union-attr]
    promise = draw_promise(bench.job, sheet, bench.desk.terms, "EUR", 2)
    assert not any("Bring" in line for line in promise.bring)
    assert (promise.keys_say == "") is (census == "all")


def test_all_old_keys_stop_where_only_new_ones_are_kept() -> None:
    assert say_keys("new-only", 2) == say_keys("new-only", None)
    assert say_keys("new-only", 1).startswith("Every old key will stop working")


def test_bench_and_vehicle_together_have_the_quantiles_of_both_played_by_chance() -> None:
    sheet = make_sheet(
        Step("turn", "act", "Turn it.", 300, 900, then="fine"), Step("fine", "end", "", outcome="good")
    )
    figures = get_figures_with_bench(sheet, 1200, 1800)
    bench = Step("bench", "act", "Cut it.", 1200, 1800, then="turn")
    time_s, _ = simulate(make_sheet(bench, *sheet.steps.values()), 100_000, 4)
    for chance, found_s in ((0.5, figures.time_p50_s), (0.9, figures.time_p90_s)):
        assert np.mean(time_s <= found_s) == pytest.approx(chance, abs=6e-3)
    # Slow at the bench and slow at the vehicle seldom meet: less than both ninth deciles together.
    alone = get_figures(sheet)
    assert figures.time_p90_s < alone.time_p90_s + 1800 - 600 * 0.1**0.5 - 30
    # Nothing but the sheet where there is no work at the bench.
    assert get_figures_with_bench(sheet, 0, 0) == alone


def test_the_paper_names_the_keys_that_stopped_working(bench: Bench) -> None:
    bench.carry_to_pairing()
    bench.begin(**TWO_OLD)
    bench.walk(until=lambda run: False)
    cautions = compose_sheet(bench.job, bench.desk.terms).cautions
    assert "This key no longer starts the vehicle: At home. Bring it to be paired." in cautions
    assert ABSENT in cautions
    # A sheet that leaves old keys alone says nothing of them.
    pairing = bench.job.pairing
    assert pairing is not None
    kept = pairing.model_copy(
        update={
            "sheet_text": pairing.sheet_text.replace('"present-only"', '"all"'),
            "census_after": tuple(key.model_copy(update={"works_after": True}) for key in pairing.census),
        }
    )
    job = bench.job.model_copy(update={"pairing": kept})
    assert not any(
        "no longer" in line or line == ABSENT for line in compose_sheet(job, bench.desk.terms).cautions
    )
