"""Packs: the pack in use, suppliers' lists read into it, what the shop has learnt."""
