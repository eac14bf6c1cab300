"""Scenarios with known truth: whether the judge tells what endangers eggs, in time, and keeps quiet otherwise.

`python -m tests.truth` runs them all and says which bars are met; see `__main__`.
"""
