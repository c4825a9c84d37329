"""What a person saw on the meter or read on the part: typed text understood, values shown again."""

from humclick.readings.leads import Leads
from humclick.readings.reading import Reading, parse_reading
from humclick.readings.repeats import Repeats, spread_of
from humclick.readings.shown import format_si
from humclick.readings.stamps import Stamp, parse_stamp
from humclick.readings.temperature import PartTemperature, parse_temperature

__all__ = [
    "Leads",
    "PartTemperature",
    "Reading",
    "Repeats",
    "Stamp",
    "format_si",
    "parse_reading",
    "parse_stamp",
    "parse_temperature",
    "spread_of",
]
