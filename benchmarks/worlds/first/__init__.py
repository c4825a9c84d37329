"""The first world, from the bottom up: a motor by its horsepower, parts as objects, readings by a network."""
