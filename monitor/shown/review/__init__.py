"""The reviews of a batch: as text, page and JSON."""
