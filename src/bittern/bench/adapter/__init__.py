"""The adapter at the bench: number on board and supply voltage, read or typed."""
