"""Ladders within a job: planned, climbed, closed; nothing of a bitting in facts or log."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from bittern.engines.blade.bitting import format_bitting, parse_bitting
from bittern.engines.blade.caliper import Reading, decode_readings
from bittern.engines.blade.climbing import follow_climb
from bittern.engines.blade.silhouette import Silhouette
from bittern.formats.packs import Pack
from bittern.work import code_tables
from bittern.work.blade import get_standard, list_cutters, look_at_bitting
from bittern.work.blade_record import BladeReading, write_reading
from bittern.work.change import SEAL_READING
from bittern.work.errors import ConflictError, FieldsError, NotAllowedError, NotYetError, SealBrokenError
from bittern.work.ladder import OpenedLadder, find_ladder, get_standing, look_at_ladder
from bittern.work.ladder_plan import HopelessError
from bittern.work.memory import MemoryTables
from bittern.work.nextstep import find_next
from bittern.work.people import Person

from .conftest import AUTHORITY, DESK, OWN, TECH, Bench, flat_bitting


@pytest.fixture
def ready(pack: Pack) -> Bench:
    """A job whose promise is accepted and whose blade is an edge blade."""
    bench = Bench(pack)
    bench.desk = replace(bench.desk, tables=MemoryTables())
    row = next(
        one
        for one in pack.fitments
        if pack.articles[one.article].blade == "heron-8" and any(n.model == one.model for n in pack.numbers)
    )
    bench.do("record-authority", AUTHORITY, DESK)
    vehicle = {"make": row.make, "model": row.model, "year": str(row.year_from), "start": row.start}
    bench.do("record-vehicle", {**vehicle, "accepted_because": "the papers say so"}, DESK)
    bench.do("choose-article", {"article": row.article, "because": "The same as the working key."}, DESK)
    bench.do("offer", {}, DESK)
    bench.do("accept", {"accepted_by": "Ilse Peatridge", "accepted_how": "in-person"}, DESK)
    return bench


def know(bench: Bench, *unknown: int) -> str:
    """Return an allowed bitting with some cuts unknown."""
    words = flat_bitting(bench.desk, bench.job).split(" ")
    return " ".join("?" if place in unknown else word for place, word in enumerate(words))


def plan(bench: Bench, *unknown: int, **more: object) -> None:
    bench.do("plan-ladder", {"known": know(bench, *(unknown or (1, 2))), **more})


def begin(bench: Bench) -> None:
    cutter = list_cutters(bench.desk, bench.job)[0].cutter.id
    bench.do("begin-ladder", {"cutter": cutter, "eyes": "yes", "guard": "yes"})


def look(bench: Bench, person: Person = TECH) -> OpenedLadder:
    return look_at_ladder(bench.desk, bench.number, person, "to cut")


def answer(bench: Bench, kind: str) -> None:
    place = len(bench.job.ladder.events)
    bench.do("ladder-rung", {"answer": kind, "place": str(place)})


def turned(bench: Bench, **more: object) -> None:
    place = len(bench.job.ladder.events)
    bench.do("ladder-turned", {"place": str(place), "sure": "yes", **more})


def test_a_ladder_is_climbed_until_one_turns(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    rungs = [rung for ladder in look(ready).ladders for rung in ladder]
    for rung in rungs[:3]:
        opened = look(ready)
        assert format_bitting(opened.standard, opened.rung.bitting) == rung
        answer(ready, "no")
    turned(ready)
    assert look_at_bitting(ready.desk, ready.number, TECH, "to see") == rungs[3]
    blade = ready.job.blade
    assert (blade.source, blade.entered_by, blade.cut_at) == ("ladder", TECH.login, None)
    # The blank in hand is put aside as well, and so is each whose ladder was done.
    assert blade.blanks_wasted == get_standing(ready.job.ladder).wasted + 1
    assert ready.job.ladder.state == "found"
    with pytest.raises(NotYetError):
        look(ready)


def test_the_blank_that_turned_may_be_the_key(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    answer(ready, "spoilt")
    turned(ready, keep_blank="yes")
    assert ready.job.blade.cut_at is not None
    assert ready.job.blade.cutter == ready.job.ladder.cutter
    assert ready.job.blade.blanks_wasted == 1
    assert find_next(ready.job).button == "Record the inspection"


def test_each_rung_only_goes_deeper_than_the_blank_in_hand(ready: Bench) -> None:
    plan(ready, 1, 2, 3)
    begin(ready)
    while (opened := look(ready)).rung is not None:
        rung = opened.rung
        after = [cut for edge in rung.bitting.edges for cut in edge]
        if rung.before is None:
            assert len(rung.deeper) == len(after)
        else:
            before = [cut for edge in rung.before.edges for cut in edge]
            assert all(a >= b for a, b in zip(after, before, strict=True))
            assert len(rung.deeper) == sum(a > b for a, b in zip(after, before, strict=True)) > 0
        answer(ready, "no")
    assert get_standing(ready.job.ladder).tried == ready.job.ladder.remaining
    # Nothing is left: only a step back or a new plan leads on.
    with pytest.raises(NotYetError):
        answer(ready, "no")
    with pytest.raises(NotYetError):
        turned(ready)
    answer(ready, "back")
    assert look(ready).rung is not None


def test_no_bitting_stands_in_facts_or_log(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    opened = look(ready)
    answer(ready, "no")
    answer(ready, "spoilt")
    turned(ready)
    said = ready.job.model_dump_json() + json.dumps(
        [dict(entry.payload) for entry in ready.store.entries(ready.number)], default=str
    )
    bittings = [rung for ladder in opened.ladders for rung in ladder] + [opened.known]
    assert not [rung for rung in bittings if rung in said]


def test_every_look_is_logged_with_its_reason(ready: Bench) -> None:
    plan(ready)
    before = len(ready.store.entries(ready.number, "seal.looked"))
    look(ready)
    entry = ready.store.entries(ready.number, "seal.looked")[-1]
    assert len(ready.store.entries(ready.number, "seal.looked")) == before + 1
    assert (entry.person, dict(entry.payload)) == (TECH.login, {"name": "ladder", "reason": "to cut"})
    with pytest.raises(FieldsError):
        look_at_ladder(ready.desk, ready.number, TECH, " ")
    with pytest.raises(NotAllowedError):
        look(ready, DESK)


def test_the_same_answer_twice_counts_once_and_a_late_one_is_refused(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    first = {"answer": "no", "place": "0"}
    ready.do("ladder-rung", first)
    ready.do("ladder-rung", first)
    assert get_standing(ready.job.ladder).tried == 1
    with pytest.raises(ConflictError):
        ready.do("ladder-rung", {"answer": "spoilt", "place": "0"})
    with pytest.raises(ConflictError):
        ready.do("ladder-rung", first, OWN)
    with pytest.raises(ConflictError):
        ready.do("ladder-rung", {"answer": "no", "place": "7"})
    ready.do("ladder-turned", {"place": "1", "sure": "yes"})
    ready.do("ladder-turned", {"place": "1", "sure": "yes"})
    assert ready.kinds().count("ladder.turned") == 1


def test_a_slip_is_taken_back_one_step_at_a_time(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    with pytest.raises(NotYetError):
        answer(ready, "back")
    first = look(ready).rung
    answer(ready, "no")
    answer(ready, "back")
    again = look(ready).rung
    assert (again.blank, again.cutting, again.bitting) == (first.blank, first.cutting, first.bitting)
    with pytest.raises(NotYetError):
        answer(ready, "back")


def test_metal_is_cut_only_after_the_customer_agreed_and_with_the_guard_closed(ready: Bench) -> None:
    plan(ready)
    cutter = list_cutters(ready.desk, ready.job)[0].cutter.id
    with pytest.raises(FieldsError) as caught:
        ready.do("begin-ladder", {"cutter": cutter})
    assert set(caught.value.fields) == {"eyes", "guard"}
    with pytest.raises(NotYetError):
        answer(ready, "no")
    ready.do("offer", {}, DESK)
    with pytest.raises(NotYetError):
        begin(ready)


def test_nothing_is_planned_before_authority(pack: Pack) -> None:
    bench = Bench(pack)
    with pytest.raises(NotYetError):
        bench.do("plan-ladder", {"known": "1"})


def test_the_counter_plans_nothing(ready: Bench) -> None:
    with pytest.raises(NotAllowedError):
        ready.do("plan-ladder", {"known": know(ready, 1)}, DESK)


def test_hopeless_counts_say_which_cut_helps_and_keep_nothing(ready: Bench) -> None:
    with pytest.raises(HopelessError) as caught:
        plan(ready, *range(1, 7))
    assert caught.value.plan.blanks is None or caught.value.plan.blanks > 12
    assert "find out cut" in caught.value.hint
    assert ready.job.ladder is None
    assert ready.store.unseal(ready.number, "ladder") is None


@pytest.mark.parametrize("known", ["", "? ?", "9 9", "x"])
def test_known_cuts_that_are_none(ready: Bench, known: str) -> None:
    with pytest.raises(FieldsError) as caught:
        ready.do("plan-ladder", {"known": known})
    assert set(caught.value.fields) == {"known"}


def test_cuts_may_be_given_one_by_one(ready: Bench) -> None:
    words = know(ready, 1, 2).split(" ")
    cuts = [word for word in words if word != "/"]
    ready.do("plan-ladder", {f"known-{i}": word for i, word in enumerate(cuts, 1) if word != "?"})
    one_by_one = look(ready).ladders
    plan(ready)
    assert look(ready).ladders == one_by_one
    with pytest.raises(FieldsError) as caught:
        ready.do("plan-ladder", {"known-1": "nonsense"})
    assert "known-1" in caught.value.fields


def test_a_plan_under_way_is_replaced_only_deliberately_and_its_blanks_stay_counted(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    answer(ready, "spoilt")
    answer(ready, "no")
    with pytest.raises(FieldsError) as caught:
        plan(ready)
    assert set(caught.value.fields) == {"sure"}
    plan(ready, sure="yes")
    assert ready.job.ladder.wasted_before == 2
    begin(ready)
    turned(ready, keep_blank="yes")
    assert ready.job.blade.blanks_wasted == 2


def test_ladders_given_up_are_destroyed(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    answer(ready, "no")
    ready.do("drop-ladder", {"because": "the old key was found"})
    assert ready.store.unseal(ready.number, "ladder") is None
    assert find_next(ready.job).button != "Go to the ladders"
    with pytest.raises(NotYetError):
        look(ready)


def test_the_next_step_knows_the_rung(ready: Bench) -> None:
    plan(ready)
    assert "ladders" in find_next(ready.job).say
    begin(ready)
    answer(ready, "no")
    step = find_next(ready.job)
    assert (step.leg, step.button) == ("blade", "Go to the ladders")
    assert "blank 1, cutting 2" in step.say


def test_another_vehicle_takes_the_ladders_with_it(ready: Bench) -> None:
    plan(ready)
    other = next(row for row in ready.desk.pack.fitments if row.make != ready.job.vehicle.make)
    ready.do(
        "record-vehicle",
        {"make": other.make, "model": other.model, "year": str(other.year_from), "start": other.start,
         "accepted_because": "told", "sure": "yes"},
        DESK,
    )  # fmt: skip
    assert ready.job.ladder is None
    assert find_ladder(ready.job) is None


def test_a_table_leaves_only_its_bittings_and_each_use_is_on_record(ready: Bench) -> None:
    standard = get_standard(ready.desk, ready.job)
    plan(ready)
    rungs = [rung for ladder in look(ready).ladders for rung in ladder]
    text = "bitting,code,weight\n" + "".join(f"{rung},K{i},{i + 1}\n" for i, rung in enumerate(rungs[:3]))
    code_tables.keep_table(ready.desk, TECH, standard.id, text, "own.csv")
    plan(ready, use_table="yes")
    assert ready.job.ladder.table
    assert sorted(rung for ladder in look(ready).ladders for rung in ladder) == sorted(rungs[:3])
    used = [note for note in ready.desk.tables.list_notes() if note.kind == "used"]
    assert [(note.job, note.person) for note in used] == [(ready.number, TECH.login)]
    looks = [entry.payload["name"] for entry in ready.store.entries(ready.number, "seal.looked")]
    assert "code table" in looks
    assert "K1" not in ready.desk.tables.unseal(standard.id)
    code_tables.drop_table(ready.desk, OWN, standard.id)
    with pytest.raises(NotYetError):
        plan(ready, use_table="yes")


def test_a_table_is_for_those_at_the_bench_and_for_edge_blades(ready: Bench) -> None:
    standard = get_standard(ready.desk, ready.job)
    with pytest.raises(NotAllowedError):
        code_tables.keep_table(ready.desk, DESK, standard.id, "bitting\n", "own.csv")
    track = next(blade for blade in ready.desk.pack.blades.values() if blade.kind == "track")
    for wrong in (track.id, "no-such"):
        with pytest.raises(code_tables.TableError):
            code_tables.keep_table(ready.desk, TECH, wrong, "bitting\n1\n", "own.csv")
    with pytest.raises(code_tables.TableError):
        code_tables.keep_table(replace(ready.desk, tables=None), TECH, standard.id, "bitting\n", "own.csv")


def test_doubtful_caliper_readings_weigh_the_ladders(ready: Bench) -> None:
    standard = get_standard(ready.desk, ready.job)
    bitting = parse_bitting(standard, flat_bitting(ready.desk, ready.job))
    cuts = [cut for edge in bitting.edges for cut in edge]
    heights = [standard.depths_mm[cut] for cut in cuts]
    step = standard.depths_mm[0] - standard.depths_mm[1]
    # One cut lies between two depths: worn, or cut too deep.
    place = next(i for i, cut in enumerate(cuts) if cut + 1 < len(standard.depths_mm))
    heights[place] -= step / 2
    data = {f"reading-{i}": f"{height:.3f}" for i, height in enumerate(heights, 1)}
    ready.do("plan-ladder", {**data, "sd_mm": "0.03", "weigh_by": "caliper"})
    assert ready.job.ladder.reading
    rungs = [rung for ladder in look(ready).ladders for rung in ladder]
    assert format_bitting(standard, bitting) in rungs
    assert len(rungs) <= 4
    assert ready.job.ladder.covered >= 0.99


def test_a_plan_that_no_longer_fits_its_blade_is_said(ready: Bench) -> None:
    plan(ready)
    ready.store.seal(ready.number, "ladder", '{"known":[],"ladders":[["9 9"]],"proof":[]}')
    with pytest.raises(SealBrokenError):
        look(ready)


def test_facts_alone_tell_where_it_stands(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    for kind in ("no", "spoilt", "no", "back"):
        answer(ready, kind)
    ladder = ready.job.ladder
    assert get_standing(ladder) == follow_climb(ladder.rungs, ["no", "spoilt"])


def keep_picture_reading(bench: Bench) -> None:
    """Seal a reading of the old key, as one that was read from a picture and not yet taken."""
    standard = get_standard(bench.desk, bench.job)
    heights = [standard.depths_mm[cut] for cut in parse_bitting(standard, "2 1 3 4 2 2 1 3").edges[0]]
    heights[5] -= (standard.depths_mm[0] - standard.depths_mm[1]) / 2
    readings = [Reading(cut, height, 0.03) for cut, height in enumerate(heights)]
    edge, frame = np.linspace(0.0, 30.0, 4), np.eye(2, 3)
    outline = Silhouette(edge, edge, -edge, edge, edge, 28.0, 28.0, 0.1, 0.1, 0.04, frame)
    kept = BladeReading(
        how="scan",
        read_by=TECH.login,
        read_at=datetime(2031, 3, 3, tzinfo=UTC),
        scale_from="600 dpi",
        residual_mm=None,
        notes=(),
        silhouette=outline,
        heights=(),
        swapped=False,
        measurement=decode_readings(standard, readings),
        picture=b"",
        picture_size=(1, 1),
        picture_frame=frame,
    )
    bench.store.seal(bench.number, SEAL_READING, write_reading(kept))


def test_the_reading_of_a_picture_weighs_the_ladders_and_the_look_is_on_record(ready: Bench) -> None:
    with pytest.raises(NotYetError):
        ready.do("plan-ladder", {"weigh_by": "picture"})
    keep_picture_reading(ready)
    ready.do("plan-ladder", {"weigh_by": "picture"})
    assert {rung.split()[5] for ladder in look(ready).ladders for rung in ladder} == {"2", "3"}
    looked = [dict(entry.payload) for entry in ready.store.entries(ready.number, "seal.looked")]
    assert {"name": "reading", "reason": "ladders"} in looked


def test_the_plan_is_gone_when_the_job_ends(ready: Bench) -> None:
    plan(ready)
    begin(ready)
    ready.do("withdraw", {"because": "the key was found", "sure": "yes"}, DESK)
    assert ready.store.unseal(ready.number, "ladder") is None
