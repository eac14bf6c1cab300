"""The decision. Start at `evaluate`."""
