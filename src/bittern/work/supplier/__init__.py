"""Suppliers' lists: recognised, put into the pack's words, merged by a visible rule.

How: docs/explanation/supplier-lists.md.
"""
