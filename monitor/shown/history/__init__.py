"""The environment history of a batch, or of one egg of it: as text, page with drawings, JSON and CSV."""
