"""One batch in one file: a ZIP of JSON and CSV, which any program can read."""
