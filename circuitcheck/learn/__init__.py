"""For the student: worked derivations, pictures, and practice with a hidden fault."""
