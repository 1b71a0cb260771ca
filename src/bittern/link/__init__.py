"""The adapters: the one place where something leaves for a vehicle's bus, and only what the gate permits."""
