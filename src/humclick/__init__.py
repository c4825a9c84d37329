"""
Hum & Click: from a compressor that will not start to a verdict that can be defended.

Imports only go down these floors::

    5  faces        cli
    4  the call     jobs
    3  judgement    diagnosis | replacement
    2  behaviour    circuit
    1  matter       arrangements, parts, safety
    0  measuring    readings, meters, physics, sourced, errors
"""

__all__ = ["__version__"]

__version__ = "0.1.0"
