"""Cutting at the bench: the plan of a job's cut, its sweep, its programs, and the use of cutters."""
