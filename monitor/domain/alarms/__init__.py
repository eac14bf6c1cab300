"""The life of an alarm, and what a notice of it carries."""
