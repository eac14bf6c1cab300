"""What is now: the room, what stands, and how the program itself is doing."""
