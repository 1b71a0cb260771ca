"""Bittern: a bench for replacement vehicle keys."""

__version__ = "0.1.0"
