"""Which device carries a run: two on one run are noticed, and one is asked to stand aside."""
