"""The part families: their modes, what each mode does to the circuit, their marks."""
