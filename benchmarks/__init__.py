"""How well the program does its work, and how fast: a simulated world, other policies, the optimum."""
