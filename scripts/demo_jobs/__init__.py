"""Makes the demo shop's jobs: invented customers, seeded, carried through the real use cases."""
