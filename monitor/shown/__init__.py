"""Values to words, tables, JSON, CSV, calendar, pages and drawings. No store and no clock."""
