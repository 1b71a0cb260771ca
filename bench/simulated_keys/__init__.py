"""Keys with known bitting, drawn from a seed: their shape, their wear, scans and photos of them.

Written from the descriptions of a blade standard and of a reading alone. Nothing here uses the outline
finder or the decoder that it is there to try.
"""
