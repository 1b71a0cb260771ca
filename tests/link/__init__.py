"""Tests of the sealed bus and of reading over it."""
