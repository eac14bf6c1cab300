"""What is played and not lived: recordings, other rules, the demo, the simulated room."""
