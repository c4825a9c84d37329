"""What each family of part follows in the start: its law with numbers, in every mode of every machine."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import pytest

from humclick.arrangements.machine import Machine
from humclick.errors import DataError
from humclick.parts.current_relay import in_time as current_relay
from humclick.parts.family import HEALTHY, Role
from humclick.parts.laws import (
    Capacitor,
    ClosedCircuit,
    CurrentRelay,
    PotentialRelay,
    Protector,
    Ptc,
    TimedStarter,
)
from humclick.parts.overload_protector import in_time as overload_protector
from humclick.parts.potential_relay import in_time as potential_relay
from humclick.parts.ptc import in_time as ptc
from humclick.parts.start_capacitor import in_time as start_capacitor
from humclick.parts.timed_starter import in_time as timed_starter
from humclick.sourced import Spread
from humclick.start.gear.mechanism import RATED_SLIP, mechanism
from humclick.start.gear.placed import Placed, capacitor_impedance, median, usual
from humclick.start.heat import constant
from humclick.start.machine import steady
from tests.start.machines import KRAUSE
from tests.visit import MACHINES, machine_of

MOTOR = replace(KRAUSE, inertia=0.003)
STUCK = {"open", "closed", ""}


def placed(part: str, mode: str = HEALTHY, name: str = "", volts: float = 115.0) -> Placed:
    """A part in a mode on the first machine that has it, or on that of a name."""
    names = [name] if name else [n for n, _ in MACHINES if any(p.id == part for p in machine_of(n).parts)]
    machine = machine_of(names[0])
    return Placed(machine, MOTOR, part, machine.part(part).family.mode(mode), volts, median)


def everywhere(part: str) -> Iterator[Placed]:
    """In every mode on every machine that has it."""
    for name, guard in MACHINES:
        machine = machine_of(name, guard)
        for at in machine.parts:
            if at.id == part:
                for mode in at.family.modes.values():
                    yield Placed(machine, MOTOR, part, mode, 115.0, median)


def test_a_current_relay_lifts_above_the_running_and_below_the_locked_current() -> None:
    """Else it would never let go, or never start the machine; a dirty contact has the ohms of its mode."""
    for part in everywhere("current_relay"):
        made = current_relay.law(part)
        running = abs(part.at_slip(min(part.typical("slip"), 0.6), run_capacitor=False).run)
        locked = abs(part.at_slip(1.0, start_circuit=False).run)
        assert made.drop_out < made.pick_up < locked
        assert made.drop_out <= running
        assert (made.tilt == math.pi) == (part.mode.name == "upside_down")
        assert made.stuck in STUCK
        assert (made.stuck == "closed") == (part.mode.name == "welded")
        dirty = part.mode.name == "contacts_dirty"
        assert made.contact_ohms == pytest.approx(
            max(part.branch("dirty") if dirty else part.size("contact"), 1e-3)
        )
    assert current_relay.law(placed("current_relay", "coil_open")).stuck == "open"


@pytest.mark.parametrize("part", ["overload_protector", "internal_protector"])
def test_a_protector_trips_after_its_time_at_locked_current_and_holds_its_ultimate_one(part: str) -> None:
    """
    Its heat balance C dT/dt = I²R − G (T − 25 °C), solved on paper.

    At locked current it reaches the trip temperature after the typical seconds; at the ultimate current it
    ends just there.
    """
    for at in everywhere(part):
        made = overload_protector.law(at)
        locked = abs(at.at_slip(1.0, start_circuit=False).run)
        share = min(at.typical("ultimate"), 0.9)
        if at.mode.name == "trips_early":
            share = min(at.typical("early"), share)
        assert 25.0 + made.heater_ohms * (share * locked) ** 2 / made.conductance == pytest.approx(made.trip)
        if at.mode.name == HEALTHY:
            seconds = at.typical("seconds")
            rise = made.heater_ohms * locked**2 / made.conductance
            reached = 25.0 + rise * (1.0 - math.exp(-seconds * made.conductance / made.capacity))
            assert reached == pytest.approx(made.trip)
        assert made.reset <= made.trip - 5.0
        assert made.inside == (part == "internal_protector")
        assert made.stuck == {"open": "open", "welded": "closed"}.get(at.mode.name, "")


def test_a_potential_relay_opens_at_the_start_windings_volts() -> None:
    """And holds below; a wrong one opens at others; an open coil never does."""
    right = potential_relay.law(placed("potential_relay"))
    for part in everywhere("potential_relay"):
        made = potential_relay.law(part)
        assert made.drop_out < made.pick_up
        name = {"wrong_pickup": "wrong", "lets_go_early": "early"}.get(part.mode.name)
        factor = part.typical(name) if name else 1.0
        volts = abs(part.at_slip(min(part.typical("slip"), 0.6)).start_volts)
        assert made.pick_up == pytest.approx(volts * factor)
        assert (made.coil_ohms == math.inf) == (part.mode.name == "coil_open")
        assert made.stuck in STUCK
    assert potential_relay.law(placed("potential_relay", "wrong_pickup")).pick_up != right.pick_up
    assert potential_relay.law(placed("potential_relay", "contacts_welded")).stuck == "closed"


def test_a_pill_takes_in_until_it_switches_what_warms_it_to_the_middle_of_its_step() -> None:
    """V²R/|Z|² for the typical time is its heat capacity times that rise; open it is no path at all."""
    for part in everywhere("ptc"):
        made = ptc.law(part)
        name = part.mode.name
        if name == "open":
            assert made is None
        elif name == "bridged":
            assert made == ClosedCircuit(max(part.branch("bridged"), 1e-3))
        else:
            assert isinstance(made, Ptc)
            ohms = part.middle("cold")
            watts = part.volts**2 * ohms / abs(part.start_branch + ohms) ** 2
            rise = made.knee + 0.35 * made.span - 25.0
            assert watts * part.typical("hold") == pytest.approx(made.capacity * rise)
            hot = made.knee + 0.5 * made.span
            assert made.conductance * (hot - 25.0) == pytest.approx(part.typical("watts_hot"))
            assert made.cold_ohms == pytest.approx(part.branch("broken" if name == "rattles" else "cold"))


@pytest.mark.parametrize("part", ["start_capacitor", "run_capacitor"])
def test_a_capacitor_loses_its_share_of_its_reactance(part: str) -> None:
    """Tan δ is loss over reactance; shorted it is a wire, open it has no farads, weak fewer than marked."""
    for at in everywhere(part):
        made = start_capacitor.law(at)
        name = at.mode.name
        if name == "shorted":
            assert made.farads == math.inf
        elif name == "open":
            assert made.farads == 0.0
        else:
            tangent = made.loss_ohms * 2 * math.pi * at.hertz * made.farads
            assert tangent == pytest.approx(at.typical("loss"), rel=1e-6)
            assert made.farads == pytest.approx(at.branch("capacitance"))
            assert made.leakage_ohms > 0
    assert start_capacitor.law(placed(part)).farads == pytest.approx(placed(part).middle("capacitance"))


def test_a_timed_starter_is_joined_for_its_time() -> None:
    """Or never, or for good."""
    stuck = {}
    for part in everywhere("timed_starter"):
        made = timed_starter.law(part)
        assert isinstance(made, TimedStarter)
        assert made.seconds == part.typical("seconds")
        stuck[part.mode.name] = made.stuck
    assert stuck.pop("never_connects") == "open"
    assert stuck.pop("stays_connected") == "closed"
    assert set(stuck.values()) == {""}


@pytest.mark.parametrize(("name", "guard"), MACHINES)
def test_every_part_with_a_place_in_the_start_makes_the_law_of_its_role(name: str, guard: str) -> None:
    """A protector trips, a starter switches or is open, a capacitor stores; in every mode."""
    machine = machine_of(name, guard)
    gear = (Ptc, ClosedCircuit, CurrentRelay, PotentialRelay, TimedStarter, type(None))
    wanted = {Role.PROTECTOR: Protector, Role.START_CAPACITOR: Capacitor, Role.RUN_CAPACITOR: Capacitor}
    for at in machine.parts:
        if at.family.role is Role.STARTER or at.family.role in wanted:
            for mode in at.family.modes.values():
                made = Placed(machine, MOTOR, at.id, mode, 115.0, median).law()
                assert isinstance(made, wanted.get(at.family.role, gear)), (at.id, mode.name)


# -- the mechanism ------------------------------------------------------------------------------------------


def test_a_load_is_scaled_to_the_motors_torque_and_hardened_by_its_mode() -> None:
    """Tight turns and breaks away harder, liquid too; pressures left over pull; seized it never turns."""
    rated = steady(MOTOR, 115.0, RATED_SLIP).torque
    loads = {mode: mechanism(placed("mechanism", mode)) for mode in placed("mechanism").kind.modes}
    sound = loads[HEALTHY]
    part = placed("mechanism")
    assert sound.gas_torque == pytest.approx(rated * part.typical("gas"))
    assert sound.friction == pytest.approx(rated * part.typical("friction"))
    assert sound.breakaway >= sound.friction
    for mode in ("tight", "liquid"):
        assert loads[mode].friction > sound.friction
        assert loads[mode].breakaway > sound.breakaway
    assert [mode for mode, load in loads.items() if load.seized] == ["seized"]
    assert {mode for mode, load in loads.items() if load.difference > 0.0} == {"unequal", "high_head"}
    assert loads["unequal"].difference == part.typical("unequal")
    assert mechanism(part, 1.5).angle == 1.5
    assert mechanism(part).angle == math.pi


# -- where the numbers come from ----------------------------------------------------------------------------


def test_a_figure_that_no_file_has_is_named() -> None:
    """Of a part and of the heat; one that is there keeps the middle of its spread."""
    part = placed("ptc")
    with pytest.raises(DataError, match=r"ptc\.toml has no typical\.weight"):
        part.typical("weight")
    with pytest.raises(DataError, match=r"heat\.toml nothing"):
        constant("nothing")
    assert 0.0 < constant("audible") < 1.0
    assert usual(part.kind, "knee") == part.usual("knee") == part.typical("knee")


def test_values_are_drawn_under_the_name_of_the_part_and_its_mode() -> None:
    """So that one draw gives one machine: a size by its own name, a mode's branch by the mode's."""
    asked = []

    def draw(name: str, of: Spread) -> float:
        asked.append(name)
        return of.median

    machine = machine_of("rsir-ptc")
    for mode in (HEALTHY, "bridged"):
        ptc.law(Placed(machine, MOTOR, "ptc", machine.part("ptc").family.mode(mode), 115.0, draw))
    assert {"ptc.cold", "ptc.bridged.bridged", "ptc.knee"} <= set(asked)


def test_the_motor_at_a_slip_has_its_capacitors_unless_they_are_left_out() -> None:
    """As solved with the reactances 1/(ωC) by hand; without a start circuit its winding carries nothing."""
    part = placed("mechanism", name="csr-potential-relay")
    machine: Machine = part.machine
    start, run = (capacitor_impedance(machine, role) for role in (Role.START_CAPACITOR, Role.RUN_CAPACITOR))
    farads = machine.size("run_capacitor", "capacitance").median
    assert run == pytest.approx(-1j / (2 * math.pi * 60.0 * farads))
    assert start is not None
    assert part.at_slip(0.3) == steady(MOTOR, 115.0, 0.3, start_impedance=start, run_capacitor=run)
    assert part.at_slip(0.3, run_capacitor=False) == steady(MOTOR, 115.0, 0.3, start_impedance=start)
    assert abs(part.at_slip(0.3, start_circuit=False).start) == 0.0
    assert capacitor_impedance(machine_of("rsir-ptc"), Role.RUN_CAPACITOR) is None
