"""A mode: branches with the conditions under which they are there, and what a data file may not say."""

from __future__ import annotations

import itertools

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.messages import Message
from humclick.parts.family import families, family
from humclick.parts.mode import Branch, Condition, Mode, Regime, When

maybe = st.sampled_from([None, True, False])
EVERY = [
    Condition(r, hot, turned) for r, hot, turned in itertools.product(Regime, (False, True), (False, True))
]


@given(regimes=st.sets(st.sampled_from(list(Regime)), min_size=1), hot=maybe, turned=maybe)
def test_a_branch_is_there_where_everything_said_of_it_holds(
    regimes: set[Regime], hot: bool | None, turned: bool | None
) -> None:
    """What is left out does not matter."""
    branch = Branch(("a", "b"), "size", when=When("|".join(regimes), hot, turned))
    for at in EVERY:
        holds = at.regime in regimes and hot in (None, at.hot) and turned in (None, at.turned)
        assert branch.exists(at) == holds
    assert all(Branch(("a", "b"), "size").exists(at) for at in EVERY)


@pytest.mark.parametrize("regime", ["", "idle", "rest|idle", "rest,run"])
def test_a_regime_that_is_none_is_refused(regime: str) -> None:
    """With those there are."""
    with pytest.raises(ValueError, match="regime must be"):
        When(regime)


@pytest.mark.parametrize("odds", [0.0, -1.0])
def test_odds_are_above_nothing(odds: float) -> None:
    """An impossible mode is no mode."""
    with pytest.raises(ValueError, match="above 0"):
        Mode("burnt", Message("burnt"), odds=odds)


def test_a_field_that_a_mode_does_not_have_is_refused() -> None:
    """So that a misspelt one is not passed over."""
    with pytest.raises(msgspec.ValidationError, match="odd"):
        msgspec.convert({"regime": "rest", "odd": 1}, When)


@pytest.mark.parametrize("name", sorted(families()))
def test_modes_of_every_family_hold_together(name: str) -> None:
    """The healthy one first; a branch joins two terminals; shares of good and no contact fit into one."""
    kind = family(name)
    assert next(iter(kind.modes)) == "healthy"
    for mode in kind.modes.values():
        assert mode.plain
        assert 0.0 <= mode.hot_open < 1.0
        assert mode.makes + mode.loses <= 1.0
        assert not mode.makes or mode.scattered
        for branch in mode.branches:
            assert branch.times > 0.0
            assert branch.within >= 1.0
            assert branch.between[0] != branch.between[1]
