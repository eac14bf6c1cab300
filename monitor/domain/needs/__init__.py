"""What the eggs in a machine need now: profile, batch, bands, and the rules they are judged by."""
