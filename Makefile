# Each target calls one script of the standard library alone; without make, run the same by python3.
.PHONY: setup demo test bench study shots reference

setup demo test bench study shots:
	@python3 scripts/$@.py

reference: setup
	@.venv/bin/python scripts/make_reference.py
	@.venv/bin/python scripts/make_licences.py
