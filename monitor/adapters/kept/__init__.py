"""Forms that are read for ever: in archives, and in rows of the record."""
