"""What eggs need, in words: the rules in force with every number and whose it is, and the species with the source of each value."""
