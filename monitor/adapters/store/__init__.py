"""The SQLite store: one writer, read-only readers, numbered migrations."""
