"""What is made of bar codes and print: numbers and identifiers, nothing changed silently."""

from __future__ import annotations

import numpy as np
import pytest

from bittern.demo import PACK_DIR
from bittern.demo.numbers import make_number
from bittern.engines.label.lines import Line
from bittern.engines.vehicle.number import check_vin
from bittern.formats.label_codes import BarCode
from bittern.formats.packs import Pack, read_pack
from bittern.work.label import LabelReading, interpret, read_label
from tests.label_images import Camera, draw_code, draw_print, make_identifier, make_vin, photograph

BOX = ((0.0, 0.0), (200.0, 0.0), (200.0, 20.0), (0.0, 20.0))
VIN = make_vin(np.random.default_rng(3))
# Outside North America the check digit does not bind; position 9 disagrees on purpose.
ELSEWHERE = "XZZKP81Z0H0123456"


@pytest.fixture(scope="module")
def pack() -> Pack:
    return read_pack(PACK_DIR)


def read(
    pack: Pack, codes: list[tuple[str, str]] | None = None, lines: list[str] | None = None
) -> LabelReading:
    return interpret(
        (100, 100),
        [BarCode(kind, text, BOX) for kind, text in codes or []],
        [Line(text, 0.97, BOX) for text in lines or []],
        pack,
    )


@pytest.mark.parametrize("kind", ["Code 39", "Code 128", "Data Matrix", "QR", "PDF417"])
def test_a_number_in_a_bar_code_is_taken_as_it_is(kind: str, pack: Pack) -> None:
    (one,) = read(pack, [(kind, VIN)]).vins
    assert (one.vin, one.valid, one.source, one.confidence, one.changed) == (VIN, True, kind, None, ())


def test_the_i_of_an_import_is_taken_away_and_that_is_said(pack: Pack) -> None:
    (one,) = read(pack, [("Code 39", f"I{VIN}")]).vins
    assert one.vin == VIN
    assert one.changed == ("the I for an import in front was taken away",)


@pytest.mark.parametrize(
    "text",
    [
        VIN[:16],
        VIN + "7",
        f"X{VIN}",
        VIN[:4] + "O" + VIN[5:],
        VIN[:8] + ("1" if VIN[8] != "1" else "2") + VIN[9:],
    ],
)
def test_a_code_39_that_is_no_whole_number_is_none(text: str, pack: Pack) -> None:
    reading = read(pack, [("Code 39", text)])
    assert reading.vins == ()
    assert [code.text for code in reading.barcodes] == [text], "what was read is shown all the same"


def test_a_number_inside_a_longer_square_code_is_taken_out_and_that_is_said(pack: Pack) -> None:
    (one,) = read(pack, [("QR", f"PAINT K2;VIN {VIN};KG 2040")]).vins
    assert (one.vin, one.changed) == (VIN, ("taken out of a longer text",))
    other = make_vin(np.random.default_rng(8))
    assert read(pack, [("QR", f"{VIN};{other}")]).vins == (), "of two, none is chosen"
    assert read(pack, [("Code 39", f"VIN {VIN} K")]).vins == ()


def test_where_no_rule_binds_that_is_said(pack: Pack) -> None:
    assert check_vin(ELSEWHERE).valid
    assert not check_vin(ELSEWHERE).check_digit.agrees
    (one,) = read(pack, [("Code 39", ELSEWHERE)]).vins
    assert one.valid
    assert one.changed[0] == "neither the check digit nor the Code 39 itself confirms it"
    (one,) = read(pack, [("Data Matrix", ELSEWHERE)]).vins
    assert one.changed == ("its check digit does not agree, which only North America requires",)


def test_print_and_bar_code_that_agree_are_one_number(pack: Pack) -> None:
    (one,) = read(pack, [("Code 39", VIN)], [f"VIN {VIN}"]).vins
    assert one.source == "Code 39"
    assert one.changed == ("the print beside it says the same",)


def test_a_printed_number_carries_its_score(pack: Pack) -> None:
    (one,) = read(pack, lines=[f"VIN: {VIN}"]).vins
    assert (one.vin, one.valid, one.source, one.confidence) == (VIN, True, "text", 0.97)


@pytest.mark.parametrize("word", ["MANUFACTUREDBYFLY", "THESETHREEWERENEW"])
def test_seventeen_letters_are_no_number(word: str, pack: Pack) -> None:
    assert check_vin(word).valid, "no rule tells it from a number outside North America"
    assert read(pack, lines=[word]).vins == ()


@pytest.mark.parametrize("place", [0, 3, 5, 10, 12])
def test_a_misread_number_is_shown_as_read_and_the_right_one_suggested(place: int, pack: Pack) -> None:
    truth = make_number(pack, "Quillmoor", "Bulrush", 2017, 4711, "push")
    alike = {"0": "8", "8": "B", "1": "7", "5": "S", "2": "Z", "S": "5", "B": "8", "H": "N", "A": "4"}
    wrong = truth[:place] + alike.get(truth[place], "X" if truth[place] != "X" else "K") + truth[place + 1 :]
    reading = read(pack, lines=[f"VIN {wrong}"])
    (one,) = reading.vins
    assert one.vin == wrong
    if not one.valid:
        assert one.changed
        assert all(other.probability < 1 for other in one.suggestions)
        assert all(other.vin != wrong for other in one.suggestions)
        assert truth in [other.vin for other in one.suggestions]


def test_a_number_with_letters_that_none_has_is_not_mended_silently(pack: Pack) -> None:
    truth = make_number(pack, "Quillmoor", "Bulrush", 2017, 4711, "push")
    place = truth.index("0", 9)
    (one,) = read(pack, lines=[f"VIN {truth[:place]}O{truth[place + 1 :]}"]).vins
    assert not one.valid
    assert "O is never used" in " ".join(one.changed)
    assert one.suggestions[0].vin == truth


@pytest.mark.parametrize(
    ("line", "text", "changed"),
    [
        ("FCC ID: 9ZZQM-QMR523K", "9ZZQM-QMR523K", ()),
        ("FCC ID: KX4-HM22", "KX4-HM22", ()),
        # No grantee code has 0 or 1 (47 CFR 2.926 and DA 13-669): they are O and I.
        ("FCC ID: K04-HM22", "KO4-HM22", ("character 2: 0 read as O, for a grantee code has no 0",)),
        ("FCC ID: 9Z1QM-QMR", "9ZIQM-QMR", ("character 3: 1 read as I, for a grantee code has no 1",)),
        ("FCC ID: 0ZZ-HM22", "OZZ-HM22", ("character 1: 0 read as O, for a grantee code has no 0",)),
        # Published examples of the two lengths of a grantee code: emcrules.com, April 2013, on DA 13-669.
        ("FCC ID: 2AA567SAMPL", "2AA567SAMPL", ()),
        ("FCC ID: G777SAMPLE500", "G777SAMPLE500", ()),
    ],
)
def test_an_identifier_follows_the_grammar(
    line: str, text: str, changed: tuple[str, ...], pack: Pack
) -> None:
    (one,) = read(pack, lines=[line]).fcc_ids
    assert (one.text, one.changed, one.confidence) == (text, changed, 0.97)


def test_small_print_is_doubted_whatever_its_score(pack: Pack) -> None:
    small = ((0.0, 0.0), (99.0, 0.0), (99.0, 9.0), (0.0, 9.0))
    lines = [Line("FCC ID: 9ZZQM-QMR523K", 0.99, small), Line(f"VIN {VIN}", 0.99, small)]
    reading = interpret((100, 100), [], lines, pack)
    said = ("the print is only 9 pixels high: take the photo from closer",)
    assert [one.changed for one in reading.fcc_ids] == [said]
    assert [one.changed for one in reading.vins] == [said]


def test_what_breaks_the_grammar_is_no_identifier(pack: Pack) -> None:
    assert read(pack, lines=["FCC ID: 9ZZ", "FCC ID: 9ZZQM-ABCDEFGHIJKLMN7"]).fcc_ids == ()


def test_zero_and_o_in_the_product_code_leave_two_readings(pack: Pack) -> None:
    (one,) = read(pack, lines=["FCC ID: 9ZZQM-A0B1"]).fcc_ids
    assert one.text == "9ZZQM-A0B1"
    assert one.alternatives == ("9ZZQM-AOB1", "9ZZQM-A0BI")
    assert read(pack, [("QR", "FCC ID: 9ZZQM-A0B1")]).fcc_ids[0].alternatives == ()


def test_the_json_has_the_fixed_keys(pack: Pack) -> None:
    data = read(pack, [("QR", VIN)], ["FCC ID: 9ZZQM-QMR523K"]).as_dict()
    assert {"vins", "fcc_ids", "barcodes", "texts"} <= set(data)
    assert data["texts"] == ["FCC ID: 9ZZQM-QMR523K"]
    assert data["vins"][0] | {"vin": VIN, "valid": True, "from": "QR"} == data["vins"][0]  # type: ignore[index]
    assert data["fcc_ids"][0] | {"text": "9ZZQM-QMR523K", "from": "text"} == data["fcc_ids"][0]  # type: ignore[index]


@pytest.mark.slow
def test_a_photo_of_a_label_with_code_and_print_is_read_whole(pack: Pack) -> None:
    rng = np.random.default_rng(21)
    code, printed = draw_code(VIN, "Code39", 2), draw_print([f"VIN {VIN}"], 28)
    width = max(code.shape[1], printed.shape[1])
    rows = [np.pad(one, ((0, 0), (0, width - one.shape[1]), (0, 0)), mode="edge") for one in (code, printed)]
    reading = read_label(photograph(np.vstack(rows), Camera(turn_deg=-18, blur_px=0.6, noise=3), rng), pack)
    (one,) = reading.vins
    assert (one.vin, one.source, one.changed) == (VIN, "Code 39", ("the print beside it says the same",))
    assert any(VIN in line.text for line in reading.lines)


@pytest.mark.slow
def test_identifiers_are_read_from_print_of_several_sizes_and_turns(pack: Pack) -> None:
    rng = np.random.default_rng(22)
    cameras = [
        Camera(),
        Camera(turn_deg=10, blur_px=0.8),
        Camera(turn_deg=180),
        Camera(turn_deg=-90),
        Camera(light=0.6, noise=5),
        Camera(perspective=0.03, turn_deg=-15),
    ]
    exact = 0
    for place, camera in enumerate(cameras):
        truth = make_identifier(rng)
        size, dark = (22, 30, 40)[place % 3], place % 2 == 1
        label = draw_print(["MODEL QM-523", f"FCC ID: {truth}", "IC: 7812Z-QM"], size, dark=dark)
        found = read_label(photograph(label, camera, rng), pack).fcc_ids
        exact += [one.text for one in found] == [truth]
    # bench/study_label.py states the rate; fewer than five of these six would be another reader.
    assert exact >= 5, f"{exact} of 6"
