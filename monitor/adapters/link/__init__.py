"""The broker, and what the nodes say on it."""
