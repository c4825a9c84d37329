"""What an action costs too much, and which actions are weighed at all."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.diagnosis.decisions import (
    HAND_OVER,
    REPLACE_COMPRESSOR,
    WAIT,
    actions_for,
    covered,
    loss,
    losses,
)
from humclick.diagnosis.remedies import remedy_of, work_on
from humclick.diagnosis.shop import default_shop
from tests.visit import MACHINES, machine_of

SHOP = default_shop()
WORK = sorted(set(SHOP.remedies) - {"wait", "hand over"})
works = st.frozensets(st.sampled_from(WORK), min_size=1, max_size=3)
needs = st.one_of(works, st.just(WAIT))


@given(needed=needs)
def test_doing_what_was_needed_costs_nothing_too_much(needed: frozenset[str]) -> None:
    """Nor does letting time pass beside it."""
    assert loss(needed, needed, SHOP) == 0.0
    assert loss(needed | WAIT, needed, SHOP) == 0.0


@given(needed=works, more=st.sampled_from(WORK))
def test_what_was_not_needed_costs_its_price_and_trust(needed: frozenset[str], more: str) -> None:
    """A compressor scrapped for nothing costs that on top; nothing else does."""
    if more in needed:
        return
    extra = loss(needed | {more}, needed, SHOP)
    scrapped = SHOP.rates["condemned_good"] if more == REPLACE_COMPRESSOR else 0.0
    assert extra == pytest.approx(SHOP.remedy(more).cost + SHOP.rates["unneeded"] + scrapped)
    assert scrapped == (1500.0 if more == REPLACE_COMPRESSOR else 0.0)


@given(needed=works, left=st.sampled_from(WORK))
def test_what_was_left_in_costs_a_return_and_parts_burnt(needed: frozenset[str], left: str) -> None:
    """The visit, and the share of the price of what was fitted over the fault; nothing is wasted."""
    action, whole = needed - {left}, needed | {left}
    if not action or whole <= covered(action):
        return
    burnt = sum(SHOP.remedy(r).price for r in action) * SHOP.rates["burnt_new_part"]
    assert loss(action, whole, SHOP) == pytest.approx(SHOP.rates["return_visit"] + burnt)


@given(action=works)
def test_acting_where_no_remedy_helps_is_a_return_that_ends_in_handing_over(action: frozenset[str]) -> None:
    """Handing over at once costs what it costs, whatever was wrong; acting first costs more."""
    handing = SHOP.remedy("hand over").cost
    assert loss(HAND_OVER, action, SHOP) == handing == loss(HAND_OVER, HAND_OVER, SHOP)
    acted = loss(action, HAND_OVER, SHOP)
    assert acted >= handing + SHOP.rates["return_visit"]
    assert loss(WAIT, HAND_OVER, SHOP) == pytest.approx(handing + SHOP.rates["return_visit"])


#: What is replaced by itself, compressor or not.
_NOT_GEAR = ("replace control", "replace condenser fan", "replace board", "replace contactor", "replace fan")


def test_start_components_come_with_a_compressor() -> None:
    """And a new control is set to call; nothing else covers anything else."""
    gear = {r for r in WORK if "replace" in r and r not in (REPLACE_COMPRESSOR, *_NOT_GEAR)}
    assert covered(frozenset({REPLACE_COMPRESSOR})) == gear | {REPLACE_COMPRESSOR, "wait"}
    assert covered(frozenset({"replace control"})) == {"replace control", "set control", "wait"}
    for other in set(WORK) - {REPLACE_COMPRESSOR, "replace control"}:
        assert covered(frozenset({other})) == {other, "wait"}


@given(
    classes=st.lists(needs, max_size=14, unique=True), due=st.frozensets(st.sampled_from(WORK), max_size=1)
)
def test_actions_are_the_likeliest_classes_the_first_pairs_a_wait_and_handing_over(
    classes: list[frozenset[str]], due: frozenset[str]
) -> None:
    """What is due belongs to every action but handing over; a pair one of the two covers is no action."""
    made = actions_for(dict.fromkeys([HAND_OVER, *classes], 0.1), due)
    assert len(made) == len(set(made))
    assert made[-1] == HAND_OVER
    assert all(due <= action for action in made[:-1])
    assert all("wait" not in action or action == WAIT for action in made[:-1])
    acts = {(c | due) - WAIT or WAIT for c in classes[:10]} | {due or WAIT}
    pairs = set()
    for first, second in itertools.combinations(classes[:4], 2):
        both = (first | second) - WAIT or WAIT
        if not (both <= covered(first) or both <= covered(second)):
            pairs.add((both | due) - WAIT or WAIT)
    assert set(made[:-1]) == acts | pairs


def test_work_done_is_not_paid_twice_and_what_is_due_is_owed() -> None:
    """With the starter new, a call that needs one needs a wait; what is due is needed beside it."""
    starter, ground = frozenset({"replace starter"}), frozenset({"restore ground"})
    rows = losses([starter, WAIT, HAND_OVER], [starter, HAND_OVER], SHOP, starter)
    assert rows[0] == rows[1] == [0.0, loss(WAIT, HAND_OVER, SHOP)]
    assert rows[2] == [SHOP.remedy("hand over").cost] * 2
    (owed,), (met,) = (losses([a], [starter], SHOP, frozenset(), ground) for a in (starter, starter | ground))
    assert owed == [loss(starter, starter | ground, SHOP)]
    assert owed[0] > met[0] == 0.0


@pytest.mark.parametrize(("name", "guard"), MACHINES[::5])
def test_mending_a_part_carries_out_one_of_its_remedies(name: str, guard: str) -> None:
    """A new part where there is one; a sealed part is mended by the compressor or not at all."""
    machine = machine_of(name, guard)
    for placed in machine.parts:
        remedy = remedy_of(machine, placed.id)
        known = {placed.remedy(mode) for mode in placed.family.modes}
        work = work_on(machine, placed.id)
        assert remedy in known | {work}
        assert remedy != "wait"
        if work:
            assert remedy == work
        elif any(r.startswith("replace") for r in known):
            assert remedy.startswith("replace")
    assert remedy_of(machine, "mechanism", new=True) == REPLACE_COMPRESSOR
    assert remedy_of(machine, "mechanism") == "clear condenser"
    assert remedy_of(machine, "wiring", new=True) == "correct wiring"
