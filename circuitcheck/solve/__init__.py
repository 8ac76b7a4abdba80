"""The operating point: nodal analysis with curves and states, one circuit or thousands at once."""
