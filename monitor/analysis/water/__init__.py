"""What an egg loses, and where that leads."""
