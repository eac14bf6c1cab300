"""A batch: its own entries, what it lived through, what was found in it, and it all in one file."""
