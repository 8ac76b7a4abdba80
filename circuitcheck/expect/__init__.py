"""Tests, instruments, expected readings and their bands."""
