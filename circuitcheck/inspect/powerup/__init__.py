"""The first power on a rebuilt loom, in steps, each of which makes one thing live."""
