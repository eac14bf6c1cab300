"""eggroom: watches incubators, wakes a breeder when it matters, and keeps the record of every batch."""

__version__ = "0.1.0"
