"""The sheet of one egg: its line of life on one drawing, what became of it, and how sure that is."""
