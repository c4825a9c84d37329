"""Horsepower and cooling capacity as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.errors import Refused
from humclick.sizes.entry import cooling_from, horsepower_from
from tests.published import published


@pytest.mark.parametrize(
    ("text", "horsepower"),
    [("1/4", 0.25), ("1 1/2 HP", 1.5), ("0,33", 0.33), ("3 hp", 3.0), ("1/8hp", 0.125), ("2 h.p.", 2.0)],
)
def test_horsepower_is_written_as_a_fraction_or_a_figure(text: str, horsepower: float) -> None:
    """With its unit or without."""
    assert horsepower_from(text) == pytest.approx(horsepower)


@published(source="NIST SP 811", where="power: BTU/h, horsepower, ton of refrigeration", printed_to="1 W")
def test_units_of_power_are_those_of_the_standard() -> None:
    """12 000 BTU/h are a ton of refrigeration, 3517 W; a horsepower is 746 W."""
    assert round(cooling_from("12000 BTU/h")) == round(cooling_from("1 ton")) == 3517
    assert horsepower_from("746 W") == pytest.approx(1.0, abs=1e-3)
    assert cooling_from("100 kcal/h") == pytest.approx(116.3)


@pytest.mark.parametrize("text", ["", "a lot", "1/0", "3 apples", "-2 hp"])
def test_what_is_no_power_is_refused_with_the_right_form(text: str) -> None:
    """The message shows what came and how it is written."""
    with pytest.raises(Refused, match="1/4"):
        horsepower_from(text)
    with pytest.raises(Refused, match="850 W"):
        cooling_from(text)


@given(st.floats(0.05, 9.9))
def test_a_figure_shown_is_read_again_as_itself(horsepower: float) -> None:
    """To the digits shown."""
    assert horsepower_from(f"{horsepower:.3g} hp") == pytest.approx(horsepower, rel=0.006)
