"""Invented run sheets, one module a family."""

from __future__ import annotations

from demo_pack.sheets import fell, fen, marsh, reed, tide

SHEETS = (*marsh.SHEETS, *fen.SHEETS, *fell.SHEETS, *tide.SHEETS, *reed.SHEETS)
