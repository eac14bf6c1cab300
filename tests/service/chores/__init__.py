"""Tests of what is done once a day."""
