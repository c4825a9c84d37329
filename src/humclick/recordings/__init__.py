"""
Recordings of a start, by clamp, logger or microphone: what they show.

`logs.recording_from_file` reads a file, `evidence.evidence_of` measures and weighs the current of the
line, or hears a phone's sound. Each ends in what the attempt came to and how strongly it speaks for
each cause; nothing is decided here.
"""

__all__ = ["GEARS"]

#: Kinds of start gear that a recording tells apart.
GEARS = ("ptc", "current_relay", "potential_relay")
