"""The command line: a thin skin over ``circuitcheck.loom``."""
