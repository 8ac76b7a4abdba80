"""A description in a set-up becomes a circuit; a fault makes another circuit of it."""
