"""What researchers run beside the program: sweeps of starts, and the tables the program judges by."""
