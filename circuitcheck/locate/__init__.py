"""Measured against expected: suspects, groups, estimates, verdict, and the reasons for it."""
