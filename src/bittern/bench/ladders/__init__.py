"""Ladders at the bench: the page that plans and climbs them, and the shop's code tables under seal."""
