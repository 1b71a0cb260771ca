"""Readings of old keys under way: a run of each in this process, its state on record."""
