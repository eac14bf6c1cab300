"""The program itself: the daemon, its configuration, how it is doing."""
