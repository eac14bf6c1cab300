"""Side floor: figures from a record that is already loaded."""
