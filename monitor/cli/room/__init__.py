"""The room now: what stands, the probes, what else happened, the rules in force."""
