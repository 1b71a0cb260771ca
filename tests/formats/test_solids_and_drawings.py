"""GLB, DXF and SVG of keys and sweeps, read back by other means."""

from __future__ import annotations

import io
import json
import math
import struct
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest

from bittern.core.errors import InputError
from bittern.engines.cutting.contours import Curve, list_curves
from bittern.engines.cutting.replay import record_replay
from bittern.engines.cutting.solid import build_key
from bittern.formats.contour_drawing import draw_contours
from bittern.formats.dxf import write_dxf
from bittern.formats.glb import write_glb
from bittern.formats.program_reader import read_program
from bittern.formats.sweep_drawing import SCALE, draw_moment
from tests.engines.cutting.programs import get_pack, plan
from tests.engines.cutting.test_toolpath import draw_bittings

SVG = "{http://www.w3.org/2000/svg}"
BLADES = ["heron-8", "alder-8", "eddy-6", "weir-8"]


def read_glb(data: bytes) -> tuple[dict, bytes]:
    """Return the two chunks of a GLB file (glTF 2.0, section 4.4)."""
    magic, version, length = struct.unpack_from("<4sII", data)
    assert (magic, version, length) == (b"glTF", 2, len(data))
    size, kind = struct.unpack_from("<I4s", data, 12)
    assert (kind, size % 4) == (b"JSON", 0)
    text = data[20 : 20 + size]
    rest, kind = struct.unpack_from("<I4s", data, 20 + size)
    assert (kind, rest % 4) == (b"BIN\0", 0)
    assert 28 + size + rest == len(data)
    return json.loads(text), data[28 + size :]


@pytest.mark.parametrize("blade_id", BLADES)
def test_a_glb_holds_the_solids_triangles_and_their_normals(blade_id: str) -> None:
    standard = get_pack().blades[blade_id]
    mesh = build_key(standard, draw_bittings(standard, 1, seed=2)[0])
    tree, binary = read_glb(write_glb(mesh))
    arrays = []
    for accessor in tree["accessors"]:
        view = tree["bufferViews"][accessor["bufferView"]]
        part = binary[view["byteOffset"] : view["byteOffset"] + view["byteLength"]]
        arrays.append(np.frombuffer(part, "<f4").reshape(-1, 3))
        assert len(arrays[-1]) == accessor["count"]
    places, normals = arrays
    assert tree["accessors"][0]["min"] == places.min(axis=0).tolist()
    assert tree["accessors"][0]["max"] == places.max(axis=0).tolist()
    faces = places.reshape(-1, 3, 3).astype(float)
    volume = np.einsum("ij,ij->", faces[:, 0], np.cross(faces[:, 1], faces[:, 2])) / 6
    assert volume == pytest.approx(mesh.get_volume_mm3(), rel=1e-5)
    assert np.linalg.norm(normals, axis=1) == pytest.approx(1, abs=1e-6)
    across = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    assert (np.einsum("ij,ij->i", across, normals[::3]) > 0).all()
    assert tree["nodes"][0]["scale"] == [0.001] * 3


@pytest.mark.parametrize("blade_id", BLADES)
def test_a_dxf_is_read_back_by_an_independent_library(blade_id: str) -> None:
    standard = get_pack().blades[blade_id]
    curves = list_curves(standard, draw_bittings(standard, 1, seed=2)[0])
    drawing = ezdxf.read(io.StringIO(write_dxf(curves, title=standard.title)))
    assert drawing.dxfversion == "AC1009"
    assert drawing.audit().errors == []
    entities = list(drawing.modelspace())
    assert len(entities) == len(curves)
    for entity, curve in zip(entities, curves, strict=True):
        assert entity.dxf.layer == curve.part.upper()
        if curve.centre is None:
            ends = [tuple(entity.dxf.start)[:2], tuple(entity.dxf.end)[:2]]
            assert ends == [pytest.approx(curve.start, abs=1e-6), pytest.approx(curve.end, abs=1e-6)]
            continue
        places = [tuple(entity.start_point)[:2], tuple(entity.end_point)[:2]]
        wanted = [curve.start, curve.end] if curve.turns_left else [curve.end, curve.start]
        assert places == [pytest.approx(place, abs=1e-5) for place in wanted]
        # The short way round, as the walls of a groove bend.
        assert (entity.dxf.end_angle - entity.dxf.start_angle) % 360 < 180


def test_a_title_becomes_a_plain_comment_and_has_a_bound() -> None:
    text = write_dxf([Curve("blade", (0, 0), (1, 0))], title="Ä\n0\nEOF")
    assert text.startswith("999\nUnit: millimetre. __0_EOF\n")
    with pytest.raises(InputError):
        write_dxf([], title="x" * 201)


@pytest.mark.parametrize("blade_id", BLADES)
def test_an_svg_outline_is_true_to_scale(blade_id: str) -> None:
    standard = get_pack().blades[blade_id]
    curves = list_curves(standard, draw_bittings(standard, 1, seed=2)[0])
    root = ElementTree.fromstring(draw_contours(curves, title="A <b>"))
    assert float(root.attrib["width"].removesuffix("mm")) == pytest.approx(standard.length_mm + 6)
    paths = {path.attrib["class"]: path.attrib["d"] for path in root.iter(f"{SVG}path")}
    assert set(paths) == {curve.part for curve in curves}
    arcs = sum(curve.centre is not None for curve in curves)
    assert sum(path.count("A") for path in paths.values()) == arcs
    assert paths["blade"].count("M") == 1


def test_an_arc_in_svg_turns_the_way_it_does_on_the_blade() -> None:
    """A quarter about (0, 0) from (1, 0) to (0, 1) bends outward, upward on the page: sweep flag 0."""
    quarter = Curve("groove", (1.0, 0.0), (0.0, 1.0), (0.0, 0.0))
    assert quarter.turns_left
    assert "A1 1 0 0 0 " in draw_contours([quarter])
    back = Curve("groove", (0.0, 1.0), (1.0, 0.0), (0.0, 0.0))
    assert "A1 1 0 0 1 " in draw_contours([back])


@pytest.mark.parametrize(
    ("blade_id", "cutter_id"), [("heron-8", "endmill-20"), ("heron-8", "wheel-84"), ("eddy-6", "endmill-15")]
)
def test_a_moment_is_drawn_with_metal_target_and_tool(blade_id: str, cutter_id: str) -> None:
    standard, cutter = get_pack().blades[blade_id], get_pack().tools[cutter_id]
    bitting = draw_bittings(standard, 1, seed=2)[0]
    motion = read_program(plan(standard, bitting, cutter), where="a")
    replay = record_replay(motion, standard, bitting, cutter, moments=50)
    for time_s in (0.0, replay.duration_s / 2, replay.duration_s):
        page = draw_moment(replay, time_s)
        root = ElementTree.fromstring(page)
        assert "style" not in page
        assert "<script" not in page
        names = {path.attrib.get("class") for path in root.iter(f"{SVG}path")}
        assert {"left", "tool"} <= names
        moment = replay.get_moment(time_s)
        said = "".join(text.text or "" for text in root.iter(f"{SVG}text"))
        assert f"Line {moment.line}," in said
        point = next(root.iter(f"{SVG}circle"))
        first = next(iter(root.iter(f"{SVG}polyline"))).attrib["points"].split()[0]
        # The tool's point lies where x is, counted from the blank's corner.
        origin = float(first.split(",")[0])
        assert float(point.attrib["cx"]) == pytest.approx(origin + SCALE * moment.tool_mm[0], abs=1e-3)
    assert math.isclose(replay.get_moment(replay.duration_s).time_s, replay.duration_s)
