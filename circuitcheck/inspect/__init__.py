"""Checks before power-up."""
