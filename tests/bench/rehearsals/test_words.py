"""Every deed, way, fault and sign of a simulated vehicle has its words on the pages."""

from __future__ import annotations

from bittern.bench.rehearsals.list_page import FAULT_WORDS
from bittern.bench.rehearsals.page import DID_WORDS, say_sign
from bittern.bench.rehearsals.truth import DEED_WORDS, TOLD_WORDS, WAY_WORDS, list_truth
from bittern.demo import PACK_DIR
from bittern.engines.pairing.course import KEYS
from bittern.engines.pairing.event import EVENT_KINDS
from bittern.engines.pairing.vehicle import make_vehicle, respond
from bittern.engines.pairing.vehicle_faults import FAULTS
from bittern.engines.pairing.vehicle_state import DEED_KINDS, SIGN_KINDS, WAYS, Deed, Sign
from bittern.formats.packs import read_pack
from bittern.work.rehearsal import COUNT_KEYS, DEEDS, READ_NUMBER, READ_SUPPLY

SHEET = read_pack(PACK_DIR).runsheets["fell-turn-pair"]


def test_every_deed_of_the_vehicle_is_offered_and_has_its_words() -> None:
    assert set(DEEDS) == set(DEED_KINDS)
    assert set(DID_WORDS) == {*DEED_KINDS, READ_SUPPLY, READ_NUMBER, COUNT_KEYS, "cable-pulled"} - {"do"}
    assert set(DEED_WORDS) == {*DEED_KINDS, "cable-pulled"} - {"do"}


def test_every_fault_way_and_statement_has_its_words() -> None:
    assert set(FAULT_WORDS) == set(FAULTS)
    assert set(WAY_WORDS) == set(WAYS)
    assert set(TOLD_WORDS) == set(EVENT_KINDS)


def test_every_sign_is_a_sentence() -> None:
    said = [say_sign(Sign(kind, 2, "KEY")) for kind in SIGN_KINDS]
    assert all(said)
    assert len(set(said)) == len(SIGN_KINDS)


def test_a_deed_out_of_order_is_told_as_one() -> None:
    vehicle = make_vehicle(SHEET, KEYS, (), 1)
    vehicle, _ = respond(SHEET, vehicle, Deed("do", "others"), 65.0)
    lines = list_truth(SHEET, vehicle)
    assert [(line.at, line.came) for line in lines] == [
        ("1:05", "Nothing: the vehicle waited for another step.")
    ]
