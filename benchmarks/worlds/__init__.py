"""Worlds built from public sources alone, to judge the program by calls it was not made for."""
