"""Runs of the demo's run sheets on a device and a server that are killed, cut off and confused on purpose."""
