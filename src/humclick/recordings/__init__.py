"""Recordings of a start, by clamp, logger or microphone: what they show."""
