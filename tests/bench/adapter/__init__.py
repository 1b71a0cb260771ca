"""Tests of the adapter at the bench."""
