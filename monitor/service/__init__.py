"""Middle floor: the order of work, and the ports it asks for."""
