"""Two simulators of starts that are not the program's, and a comparison with it."""
