"""What needs no record: the demo, a recorded stream, the air's own numbers."""
