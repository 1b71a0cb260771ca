"""Solids as GLB, the binary form of glTF 2.0 (Khronos Group; ISO/IEC 12113:2022)."""

from __future__ import annotations

import json
import struct
from typing import Final

import numpy as np

from bittern.engines.cutting.solid import Mesh

BRASS: Final = (0.72, 0.55, 0.24, 1.0)
"""Base colour of the material, linear; invented."""
MM: Final = 0.001
_JSON, _BIN = 0x4E4F534A, 0x004E4942
_FLOAT, _ARRAY_BUFFER = 5126, 34962


def write_glb(mesh: Mesh, *, name: str = "key") -> bytes:
    """Return a mesh as a GLB file.

    Notes
    -----
    glTF counts in metres with Y up: x stays X, h becomes Y, n becomes Z, and the node is scaled by 0.001.
    Each triangle has its own corners, so that edges stay sharp in any viewer.
    """
    corners = mesh.corners_mm[mesh.triangles.reshape(-1)].astype("<f4")
    faces = corners.reshape(-1, 3, 3).astype(np.float64)
    across = np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    flat = np.divide(across, length, out=np.tile([0.0, 0.0, 1.0], (len(across), 1)), where=length > 0)
    normals = np.repeat(flat, 3, axis=0).astype("<f4")
    data = corners.tobytes() + normals.tobytes()
    half = len(data) // 2
    view = {"buffer": 0, "byteLength": half, "target": _ARRAY_BUFFER}
    accessor = {"componentType": _FLOAT, "count": len(corners), "type": "VEC3"}
    text = json.dumps(
        {
            "asset": {"version": "2.0", "generator": "Bittern"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": [{"name": name, "mesh": 0, "scale": [MM, MM, MM]}],
            "meshes": [
                {"name": name, "primitives": [{"attributes": {"POSITION": 0, "NORMAL": 1}, "material": 0}]}
            ],
            "materials": [
                {
                    "name": "brass",
                    "pbrMetallicRoughness": {
                        "baseColorFactor": list(BRASS),
                        "metallicFactor": 0.6,
                        "roughnessFactor": 0.45,
                    },
                }
            ],
            "accessors": [
                {
                    **accessor,
                    "bufferView": 0,
                    "min": corners.min(axis=0).tolist(),
                    "max": corners.max(axis=0).tolist(),
                },
                {**accessor, "bufferView": 1},
            ],
            "bufferViews": [{**view, "byteOffset": 0}, {**view, "byteOffset": half}],
            "buffers": [{"byteLength": len(data)}],
        },
        separators=(",", ":"),
    ).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), _JSON) + text + struct.pack("<II", len(data), _BIN) + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks
