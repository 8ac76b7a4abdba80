"""The laws, as small pure functions, and the kinds of branch a solver must understand.

Everything here is in base units: volt, ampere, ohm, watt, metre, square millimetre for wire
sections, degree Celsius, radian per second for shaft speed (rpm only at the edges).
"""
