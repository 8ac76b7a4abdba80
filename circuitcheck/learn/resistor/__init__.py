"""The series resistor of a slow fan: where it stands, how many ohms, how hot, what else it moves."""
