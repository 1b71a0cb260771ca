"""Run sheets of any length, drawn by chance, and runs of them played by chance."""
