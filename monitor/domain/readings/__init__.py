"""Is a reading true, and when was it taken: numbering, dating, calibration, quality, agreement."""
