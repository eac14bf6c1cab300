"""Moist air and its units: wet bulb, dew point, vapour pressure, what the air draws from an egg."""
