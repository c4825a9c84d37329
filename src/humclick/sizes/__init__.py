"""Sizes of sound machines, from 1/20 to 5 hp: one model, given all that is known of a machine."""
