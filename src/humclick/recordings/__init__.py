"""
Recordings of a start, by clamp, logger or microphone: what they show.

`logs.read_recording` reads a file, `evidence.current_evidence` measures and weighs the current of the line,
`sound.listen` hears a phone's recording. Each ends in what the attempt came to and how strongly it speaks for
each cause; nothing is decided here.
"""
