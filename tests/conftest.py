"""No test is timed: how long an example takes says what else the machine was doing."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
