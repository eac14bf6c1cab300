"""A problem hatch against its record."""
