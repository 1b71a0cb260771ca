"""Tests of the picture stages."""
