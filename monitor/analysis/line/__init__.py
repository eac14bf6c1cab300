"""Readings as arrays, and the line that they make."""
