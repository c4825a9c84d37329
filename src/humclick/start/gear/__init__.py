"""A part in its place and mode in the start, and what is turned; laws in time are the families' own."""
