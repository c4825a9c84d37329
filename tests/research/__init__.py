"""Sweeps of starts."""
