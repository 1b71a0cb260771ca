"""The demo shop: everything in it is invented."""

from __future__ import annotations

from pathlib import Path

PACK_DIR = Path(__file__).resolve().parent / "pack"
"""Folder of the demo pack."""
