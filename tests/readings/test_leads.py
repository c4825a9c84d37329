"""What test leads add: nothing where the meter takes it off, what was seen, or what leads usually add."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import OutOfRange
from humclick.readings.leads import Leads


@given(ohms=st.floats(0.0, 100.0), nulled=st.booleans())
def test_what_leads_add_is_known_or_spread(ohms: float, nulled: bool) -> None:
    """Never both: nulled leads add nothing whatever was seen before."""
    seen = Leads(nulled, ohms)
    assert seen.offset == (0.0 if nulled else ohms)
    assert seen.spread is None


def test_leads_nobody_looked_at_add_what_leads_usually_add() -> None:
    """Tenths of an ohm, from meters.toml."""
    spread = Leads().spread
    assert Leads().offset is None
    assert spread is not None
    assert 0.05 < spread.median < 1.0
    assert Leads(nulled=True).spread is None


@pytest.mark.parametrize("ohms", [-0.1, math.inf, math.nan])
def test_leads_that_cannot_be_are_refused(ohms: float) -> None:
    """With what to do."""
    with pytest.raises(OutOfRange, match="Touch the tips together"):
        Leads(resistance=ohms)
