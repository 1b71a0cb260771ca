"""Vehicle numbers against the published rule, its worked examples, and two libraries nobody here wrote.

Some of the numbers were seen on real vehicles in public files; they serve as check-digit vectors and
nothing else.
"""

from __future__ import annotations

from datetime import datetime

import pytest
import ultravin
from hypothesis import given, settings
from hypothesis import strategies as st
from vininfo import Vin

from bittern.data import vpic
from bittern.engines.vehicle.errors import NotANumberError
from bittern.engines.vehicle.number import (
    VIN_ALPHABET,
    check_vin,
    compute_check_digit,
    compute_weighted_sum,
    find_model_years,
    find_wmi,
)
from tests.engines.vehicle.numbers import (
    CLASSIC,
    ONES,
    YEAR_CODES,
    american_numbers,
    any_numbers,
    with_check_digit,
)

CLOCK = datetime(2026, 6, 1)

NINE = "PeteCarrott/vinDecode, sampleData.md, and davidpeckham/vin, README"
TEN = "PeteCarrott/vinDecode, sampleData.md; davidpeckham/vin, tests; idlesign/vininfo, tests"

# number, weighted sum (None where the source prints none), check digit, source
WORKED = [
    ("1G4AH59H45G118341", 411, "4", "49 CFR 565.6 (old), Table V: the official sample"),
    (
        CLASSIC,
        351,
        "X",
        "worked example of the encyclopaedia, copied at pandsauto.ca and corvetteactioncenter",
    ),
    ("JH2RC3605MM101581", 280, "5", "vsource.org, worked example quoting 49 CFR 565"),
    ("1G1BL52P7TR115520", 337, "7", "transamworld.com, worked example"),
    (ONES, 89, "1", "arithmetic: 1 times the sum of the weights of Table IV"),
    ("1HGCM82633A004352", 311, "3", NINE),
    ("5YJSA1H12FFP71790", 398, "2", NINE),
    ("1HD1GP4558K319097", 401, "5", NINE),
    ("5FNYF5H59HB011946", 416, "9", NINE),
    ("KNDCE3LG2L5073161", 343, "2", NINE),
    ("SCFEBBELXDGD17560", None, "X", TEN),
    ("1B4GP54RXVB379372", 428, "X", TEN),
    ("1G8ZH528XYZ262643", 527, "X", TEN),
    ("KM8JN72DX7U583688", 439, "X", TEN),
    ("3HGGK5H8XLM725852", 472, "X", TEN),
    ("5TDEBRCHXMS017204", 340, "X", TEN),
    ("5N1NJ01CXST000001", 186, "X", TEN),
]


@pytest.mark.parametrize(("vin", "total", "digit", "source"), WORKED, ids=[row[0] for row in WORKED])
def test_worked_examples_have_the_published_sum_and_digit(
    vin: str, total: int | None, digit: str, source: str
) -> None:
    if total is not None:
        assert compute_weighted_sum(vin) == total, source
    assert compute_check_digit(vin) == digit == vin[8], source
    report = check_vin(vin)
    assert report.valid, source
    assert report.problems == ()


@pytest.mark.parametrize(
    ("vin", "expected", "source"),
    [
        # Read from a vehicle's bus: kept as read and flagged, neither refused nor put right.
        ("1D4GP00R55B123456", "X", "ELM329 data sheet, p. 38: multi-line response"),
        ("5FNYF5H50HB011946", "9", "davidpeckham/vin, tests: invalid"),
        ("KNAPX81GBNK005247", None, "davidpeckham/vin, tests: invalid"),
    ],
)  # fmt: skip
def test_published_invalid_numbers_do_not_agree(vin: str, expected: str | None, source: str) -> None:
    report = check_vin(vin)
    assert not report.check_digit.agrees, source
    assert report.vin == vin
    if expected:
        assert report.check_digit.expected == expected, source
    assert report.valid is (vin[0] not in "12345"), source


def test_digit_outside_north_america_is_not_required() -> None:
    # brendan-w/python-OBD, tests/test_decoders.py: European style, Z at position 9, which ISO 3779 leaves
    # to the maker (from memory).
    report = check_vin("WP0ZZZ99ZTS392124")
    assert report.valid
    assert report.problems == ()
    assert report.check_digit.required is False
    assert report.check_digit.given == "Z"
    assert any("not required here" in note for note in report.notes)


@settings(deadline=None)
@given(vin=any_numbers)
def test_numbers_not_from_north_america_are_valid_whatever_position_9_is(vin: str) -> None:
    report = check_vin(vin)
    assert report.check_digit.required is (vin[0] in "12345")
    if vin[0] not in "12345":
        assert report.valid


@settings(deadline=None)
@given(vin=any_numbers)
def test_check_digit_is_that_of_an_independent_library(vin: str) -> None:
    assert (compute_check_digit(vin) == vin[8]) is Vin(vin).verify_checksum(check_year=False)
    assert Vin(with_check_digit(vin)).verify_checksum(check_year=False)


def test_generated_numbers_of_the_public_data_are_valid() -> None:
    numbers = ultravin.generate(500, seed=565, invalid_rate=0.0, now=CLOCK)
    assert len(numbers) == 500
    assert [vin for vin in numbers if not (r := check_vin(vin)).valid or not r.check_digit.agrees] == []
    assert [vin for vin in numbers if ultravin.decode(vin, now=CLOCK)["wmi"] != find_wmi(vin)] == []


@settings(deadline=None)
@given(vin=american_numbers(), wrong=st.sampled_from("0123456789XABZ"))
def test_wrong_check_digit_is_the_only_problem(vin: str, wrong: str) -> None:
    assert check_vin(vin).valid
    report = check_vin(vin[:8] + wrong + vin[9:])
    assert report.valid is (wrong == vin[8])
    if wrong != vin[8]:
        assert len(report.problems) == 1
        assert report.problems[0].startswith("position 9:")
        assert (report.check_digit.given, report.check_digit.expected) == (wrong, vin[8])


def test_x_is_a_check_digit_at_position_9_and_an_ordinary_letter_elsewhere() -> None:
    # 49 CFR 565.15(c)(4): the remainder 10 is written X.
    assert check_vin(CLASSIC).check_digit.given == "X"
    assert check_vin(with_check_digit("1X8GDMXA1KPX42788")).valid


def test_single_changes_are_found_but_for_equal_values() -> None:
    # Computed from Tables III and IV: the weights are coprime to 11, so only characters of equal value pass.
    values = {c: compute_weighted_sum(c + "0" * 16) // 8 for c in VIN_ALPHABET}
    changes = [
        (CLASSIC[:i] + c + CLASSIC[i + 1 :], values[c] == values[CLASSIC[i]])
        for i in range(17)
        if i != 8
        for c in VIN_ALPHABET
        if c != CLASSIC[i]
    ]
    passing = [equal for changed, equal in changes if compute_check_digit(changed) == "X"]
    assert len(changes) == 512
    assert len(passing) == 39
    assert all(passing)


def test_length_and_alphabet_follow_565_13() -> None:
    # 49 CFR 565.13(b), (g): 17 characters, no I, O, Q.
    assert not check_vin(CLASSIC[:-1]).valid
    assert not check_vin(CLASSIC + "1").valid
    for never, instead in (("I", "1"), ("O", "0"), ("Q", "0")):
        right = with_check_digit("1M8GDM9A1KP" + instead + "42788")
        report = check_vin(right[:11] + never + right[12:])
        assert not report.valid
        assert "position 12" in report.problems[0]
        assert report.proposal == right
        assert report.vin[11] == never, "a suggestion, never put in silently"
    assert check_vin("1M8GDM9AXKP04278§").problems == (
        "position 17: '§' is neither a digit nor a capital letter",
    )


def test_all_problems_are_listed() -> None:
    report = check_vin("1M8GDM9AXKPO4278%Q")
    assert len(report.problems) == 4
    assert report.check_digit.expected is None
    assert report.proposal is None


@pytest.mark.parametrize(
    "text", ["1m8gdm9axkp042788", "1M8-GDM9AX-KP042788", " 1M8 GDM 9AX KP0 427 88\n", "*1M8GDM9AXKP042788*"]
)
def test_spelling_is_normalised_with_a_note(text: str) -> None:
    report = check_vin(text)
    assert report.vin == CLASSIC
    assert report.valid
    assert report.problems == ()
    if text.strip() != CLASSIC:
        assert report.notes


def test_the_word_in_front_is_taken_away_only_from_longer_texts() -> None:
    assert check_vin("VIN: 1M8GDM9AXKP042788").vin == CLASSIC
    assert check_vin("VINGDM9AXKP042788").vin == "VINGDM9AXKP042788"


@pytest.mark.parametrize("text", ["", "   ", "---", "1" * 101])
def test_what_cannot_be_a_number_is_refused(text: str) -> None:
    with pytest.raises(NotANumberError):
        check_vin(text)


@settings(deadline=None)
@given(text=st.text(min_size=1, max_size=100))
def test_any_text_gets_a_report_or_one_error(text: str) -> None:
    try:
        report = check_vin(text)
    except NotANumberError:
        return
    assert report.valid is (not report.problems)
    assert check_vin(report.vin).problems == report.problems


def test_year_codes_of_both_cycles() -> None:
    # Table VII, and the final rule 73 FR 23367 (2008): 30 codes, each again after 30 years.
    years = [find_model_years("1" * 9 + code + "1" * 7) for code in YEAR_CODES]
    assert years == [(1980 + i, 2010 + i) for i in range(30)]
    for never in "IOQUZ0":
        assert find_model_years("1" * 9 + never + "1" * 7) == ()


@settings(deadline=None)
@given(vin=american_numbers(), code=st.sampled_from("UZ0"))
def test_year_code_that_does_not_exist_is_a_problem_in_north_america_only(vin: str, code: str) -> None:
    american = check_vin(with_check_digit(vin[:9] + code + vin[10:]))
    assert [p.split(":")[0] for p in american.problems] == ["position 10"]
    assert american.model_years == ()
    elsewhere = check_vin("W" + american.vin[1:])
    assert elsewhere.valid
    assert any("position 10" in note for note in elsewhere.notes)


@pytest.mark.parametrize(
    ("vin", "year"),
    [
        # 49 CFR 565.15(b), the NHTSA final rule: position 7 a letter, 2010 to 2039; a digit, 1980 to 2009.
        ("5YJSA1H12FFP71790", 2015),
        ("SCFEBBELXDGD17560", 2013),
        ("JH4KA2650HC000268", 1987),
        ("1HGCM82633A004352", 2003),
    ],
)  # fmt: skip
def test_position_7_tells_the_cycle_of_light_vehicles(vin: str, year: int) -> None:
    assert find_model_years(vin, light=True) == (year,)
    assert year in find_model_years(vin)


def test_position_7_says_nothing_of_heavy_and_unknown_vehicles() -> None:
    # PeteCarrott/vinDecode, sampleData.md: a class 6 truck of model year 2000 with B at position 7.
    truck = "1FV3GFBC0YHA74039"
    assert find_model_years(truck, light=False) == (2000, 2030)
    assert find_model_years(truck) == (2000, 2030)


def test_a_number_stands_for_one_vehicle_for_thirty_years() -> None:
    # 49 CFR 565.4(d) (2002 text): no two vehicles made within 30 years have the same number. So the two
    # years that one code can mean are never nearer.
    for code in YEAR_CODES:
        first, second = find_model_years("1" * 9 + code + "1" * 7)
        assert second - first == 30


def test_all_ones_pass_the_check_digit_and_are_nobodys_number() -> None:
    # Arithmetic: 89 modulo 11 is 1. No maker has the identifier 111, and only that tells.
    report = check_vin(ONES)
    assert report.check_digit.agrees
    assert report.wmi == "111"
    assert not vpic.knows_wmi("111")
    assert report.model_years == (2001, 2031)


def test_low_volume_maker_has_six_characters() -> None:
    # 49 CFR 565.15(a): third character 9, the identifier goes on at positions 12 to 14.
    assert find_wmi("1X9AB00000H123001") == "1X9123"
    assert find_wmi(CLASSIC) == "1M8"
    assert find_wmi("1M") is None


def test_report_has_the_fixed_shape() -> None:
    shape = check_vin(CLASSIC).as_dict()
    assert shape["check_digit"] == {"given": "X", "expected": "X", "required": True}
    assert (shape["vin"], shape["valid"], shape["wmi"]) == (CLASSIC, True, "1M8")
    assert (shape["model_years"], shape["problems"]) == ([1989, 2019], [])
