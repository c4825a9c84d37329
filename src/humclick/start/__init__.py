"""The start in time: what happens in the second after power is put on."""
