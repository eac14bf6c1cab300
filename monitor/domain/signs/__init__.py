"""What the air gives away: a machine that was opened, air that is heading out of its band."""
