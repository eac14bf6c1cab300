"""Upper floor: one neighbour each (broker, database, phone service, files, clock). They do not know each other."""
