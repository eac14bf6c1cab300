"""The environment history of a batch: what its eggs lived through, in figures."""
