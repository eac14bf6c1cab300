"""What the phone is told, in words."""
