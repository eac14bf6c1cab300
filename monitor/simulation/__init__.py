"""A physical model of incubators and the streams recorded from it: for the demo, the tests and a preview of rules."""
