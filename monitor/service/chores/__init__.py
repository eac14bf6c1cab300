"""What is done once a day, by the calendar; no alarm hangs on any of it."""
