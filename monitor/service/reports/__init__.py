"""What is asked of the record: history, water, review, comparison, archive."""
