"""Files in, dataclasses out, and back: one module per format."""
