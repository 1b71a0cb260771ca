"""The demo pack: what it must have, that nothing in it is real, and that its script still makes it."""

from __future__ import annotations

import subprocess
import sys
from collections import defaultdict
from functools import cache
from itertools import combinations
from pathlib import Path

import pytest

from bittern.core.errors import InputError
from bittern.data.vpic import knows_wmi
from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.engines.blade.soundness import find_standard_faults
from bittern.engines.cutting.fitting import find_cutter_faults, fits_standard
from bittern.engines.key.catalogue import ARTICLE_KINDS
from bittern.engines.key.fcc import parse_fcc_id
from bittern.engines.pairing.chain import analyse_sheet
from bittern.engines.pairing.check import find_sheet_cautions, find_sheet_faults
from bittern.engines.pairing.sheet import CENSUSES
from bittern.engines.vehicle.decode import decode_vin
from bittern.engines.vehicle.number import check_vin
from bittern.formats.packs import Pack, read_pack

SCRIPT = Path(__file__).parents[2] / "scripts" / "make_demo_pack.py"


@cache
def get_pack() -> Pack:
    """Return the demo pack."""
    return read_pack(PACK_DIR)


def read_bytes(folder: Path) -> dict[str, bytes]:
    """Return every file's bytes by its place in the folder."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


def test_script_makes_the_committed_files_byte_for_byte(tmp_path: Path) -> None:
    made = tmp_path / "pack"
    subprocess.run([sys.executable, str(SCRIPT), str(made)], check=True, capture_output=True)
    assert read_bytes(made) == read_bytes(PACK_DIR)


def test_pack_is_as_large_as_a_demo_shop_needs() -> None:
    pack = get_pack()
    assert len({row.make for row in pack.fitments}) >= 12
    assert len({(row.make, row.model) for row in pack.fitments}) >= 60
    assert len(pack.articles) >= 120
    assert len(pack.fitments) >= 250
    assert len(pack.blades) >= 8
    assert len(pack.tools) >= 6
    assert len(pack.runsheets) >= 12


def test_every_kind_of_thing_is_there() -> None:
    pack = get_pack()
    edges = [blade for blade in pack.blades.values() if blade.kind == "edge"]
    assert {blade.sides for blade in edges} == {"single", "mirror", "split"}
    assert {blade.datum for blade in pack.blades.values()} == {"shoulder", "tip"}
    assert len(pack.blades) - len(edges) >= 2
    assert {article.kind for article in pack.articles.values()} == set(ARTICLE_KINDS)
    assert {tool.kind for tool in pack.tools.values()} == {"wheel", "endmill"}
    assert {sheet.census for sheet in pack.runsheets.values()} == set(CENSUSES)
    assert {row.start for row in pack.fitments} == {"turn", "push"}
    assert {article.frequency_hz for article in pack.articles.values()} >= {
        None,
        315e6,
        433.92e6,
        868.3e6,
        902.5e6,
    }


def test_every_article_fits_a_vehicle_and_every_run_sheet_and_standard_is_used() -> None:
    pack = get_pack()
    assert {row.article for row in pack.fitments} == set(pack.articles)
    assert {row.runsheet for row in pack.fitments} - {""} == set(pack.runsheets)
    assert {article.blade for article in pack.articles.values()} - {""} == set(pack.blades)


def test_blades_are_sound_and_each_has_a_cutter_that_makes_it() -> None:
    pack = get_pack()
    for blade in pack.blades.values():
        assert find_standard_faults(blade) == []
        assert [tool.id for tool in pack.tools.values() if not fits_standard(tool, blade)], blade.id
    for tool in pack.tools.values():
        assert find_cutter_faults(tool) == []
        assert [blade.id for blade in pack.blades.values() if not fits_standard(tool, blade)], tool.id


@pytest.mark.parametrize("name", sorted(get_pack().runsheets))
def test_run_sheet_cannot_surprise(name: str) -> None:
    sheet = get_pack().runsheets[name]
    assert find_sheet_faults(sheet) == []
    assert find_sheet_cautions(sheet) == []
    kinds = {step.kind for step in sheet.steps.values()}
    assert {"act", "choose", "end"} <= kinds
    assert any(step.fails for step in sheet.steps.values())
    assert any(step.window_s for step in sheet.steps.values())
    assert all(step.recovery for step in sheet.steps.values() if step.outcome == "stranded")
    assert any(step.no_return for step in sheet.steps.values()) == (sheet.census != "all")
    figures = analyse_sheet(sheet)
    assert figures.p_good > 0.8
    assert figures.p_stranded < 0.05


@pytest.mark.parametrize("name", sorted(get_pack().runsheets))
def test_caution_stands_where_the_hand_is(name: str) -> None:
    for step in get_pack().runsheets[name].steps.values():
        say = step.say.lower()
        assert say, step.id
        assert "!" not in say, step.id
        if "coin cell" in say:
            assert "children" in say, step.id
        if "engine starts" in say or "let the engine run" in say:
            assert "exhaust" in say, step.id
            assert "parking brake" in say, step.id
    first = next(iter(get_pack().runsheets[name].steps.values()))
    assert "parking brake" in first.say.lower()


def test_proximity_keys_have_an_emergency_blade() -> None:
    keys = [article for article in get_pack().articles.values() if article.kind == "proximity"]
    assert len(keys) > 40
    assert all(key.blade and key.battery and key.buttons for key in keys)


def test_identifiers_are_well_formed_and_plainly_invented() -> None:
    for article in get_pack().articles.values():
        if article.fcc_id:
            parsed = parse_fcc_id(article.fcc_id)
            assert parsed.text == article.fcc_id
            assert parsed.grantee.startswith("9ZZ")
            assert len(parsed.grantee) == 5


def test_identifying_a_key_is_not_always_easy() -> None:
    by_id = defaultdict(list)
    for article in get_pack().articles.values():
        if article.fcc_id:
            by_id[article.fcc_id].append(article)
    differing = [group for group in by_id.values() if len({article.buttons for article in group}) > 1]
    assert len(differing) >= 12, "several articles with one identifier that differ in their buttons"
    near = {
        frozenset((a[place], b[place]))
        for a, b in combinations(by_id, 2)
        if len(a) == len(b) and sum(x != y for x, y in zip(a, b, strict=True)) == 1
        for place in range(len(a))
        if a[place] != b[place]
    }
    assert near >= {frozenset("8B"), frozenset("0O"), frozenset("5S")}


def test_shares_leave_something_to_what_the_pack_does_not_know() -> None:
    groups: dict[tuple[str, str, int, str], list[float]] = defaultdict(list)
    for row in get_pack().fitments:
        for year in range(row.year_from, row.year_to + 1):
            groups[row.make, row.model, year, row.start].append(row.share)
    for key, shares in groups.items():
        assert 1 <= len(shares) <= 3, key
        assert 0.85 - 1e-9 <= sum(shares) <= 0.98 + 1e-9, key


def test_no_maker_stands_behind_the_numbers() -> None:
    wmis: dict[str, set[str]] = defaultdict(set)
    for pattern in get_pack().numbers:
        wmis[pattern.make].add(pattern.wmi)
        assert not knows_wmi(pattern.wmi), pattern.wmi
    assert set(wmis) == {row.make for row in get_pack().fitments}
    assert all(2 <= len(of_make) <= 3 for of_make in wmis.values())
    firsts = {min(of_make)[0] in "12345" for of_make in wmis.values()}
    assert firsts == {True, False}, "some of North America, where the check digit binds, some of elsewhere"


def test_every_model_of_every_year_has_a_number_that_decodes_to_it() -> None:
    pack = get_pack()
    years: dict[tuple[str, str], list[int]] = defaultdict(list)
    for row in pack.fitments:
        years[row.make, row.model] += [row.year_from, row.year_to]
    spans = {model: (min(found), max(found)) for model, found in years.items()}
    for row in pack.fitments:
        for year in (row.year_from, row.year_to):
            number = make_number(pack, row.make, row.model, year, 4711, row.start)
            report = check_vin(number, light=True)
            assert report.valid
            assert report.check_digit.agrees
            assert report.model_years == (year,)
            decoded = decode_vin(number, pack.numbers, spans=spans)
            assert (decoded.make, decoded.model, decoded.source) == (row.make, row.model, "pack")
            assert year in decoded.model_years


def test_serial_tells_numbers_apart() -> None:
    numbers = {make_number(get_pack(), "Quillmoor", "Oxbow", 2021, serial) for serial in range(500)}
    assert len(numbers) == 500


@pytest.mark.parametrize(
    ("model", "year", "serial", "start"),
    [("Oxbow", 1979, 1, ""), ("Oxbow", 2040, 1, ""), ("Oxbow", 2021, -1, ""), ("Oxbow", 2021, 10**6, ""),
     ("Nosuch", 2021, 1, ""), ("Oxbow", 1990, 1, "")],
)  # fmt: skip
def test_number_of_a_vehicle_that_is_not_in_the_pack_is_refused(
    model: str, year: int, serial: int, start: str
) -> None:
    with pytest.raises(InputError):
        make_number(get_pack(), "Quillmoor", model, year, serial, start)
