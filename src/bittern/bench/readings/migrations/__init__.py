"""Migrations of Readings."""
