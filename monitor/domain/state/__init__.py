"""What is known at this moment, and the rows that the record takes in."""
