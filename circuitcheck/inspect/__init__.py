"""Checks before power-up: is the design itself sound, is every wire and fuse of the right size."""
