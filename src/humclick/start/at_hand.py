"""What a technician has at hand about a motor: plate, windings, start circuit. Anything may be missing."""

from __future__ import annotations

from dataclasses import dataclass

from humclick.arrangements.frame import SINGLE_PHASE, frame
from humclick.arrangements.machine import Machine, Nameplate
from humclick.errors import OutOfRange, Refused
from humclick.messages import Message
from humclick.parts.family import Role
from humclick.physics.bounds import between
from humclick.sourced import Spread, read_data, spread

__all__ = ["AtHand", "at_hand"]

#: Outer limits of a plausible entry. [Ω] [hp] [m³]
_OHMS, _HORSEPOWER, _DISPLACEMENT = (0.05, 2000.0), (0.01, 10.0), (1e-7, 1e-3)
#: A closed start gear that limits nothing itself.
_CONTACT = Spread(0.05, 3.0, "Ω", "common practice: a good contact")
#: Machines whose start winding brings its own resistance, by the letters of the trade.
_RESISTANCE_START = ("RSIR", "RSCR")


@dataclass(frozen=True, slots=True, kw_only=True)
class AtHand:
    """
    What is known of a motor before it runs. A missing item is None and widens every answer.

    Raises `OutOfRange` for a value that cannot belong to such a motor.
    """

    #: Of the plate. [V] [Hz]
    volts: float
    hertz: float = 60.0
    #: Of the plate. [A]
    locked_rotor_amps: float | None = None
    rated_load_amps: float | None = None
    horsepower: float | None = None  #: Of the plate or the list. [hp]
    displacement: float | None = None  #: Of the compressor, per turn. [m³]
    #: Measured, at 25 °C. [Ω]
    run_ohms: float | None = None
    start_ohms: float | None = None
    #: 95 % of such readings lie within this factor of the truth; a careful reading if None. [-]
    ohms_factor: float | None = None
    #: Resistance of the closed start gear: a cold PTC, a contact; None if there is no start gear. [Ω]
    gear: Spread | None = None
    #: Capacitances; None if the motor has no such part. [F]
    start_capacitor: Spread | None = None
    run_capacitor: Spread | None = None
    poles: int | None = None  #: Two are taken if not known.
    #: Whether a bare contact puts the start winding straight on the line: no pill, no capacitor before it.
    split_phase: bool = False

    def __post_init__(self) -> None:
        Nameplate(self.volts, self.hertz, self.locked_rotor_amps, self.rated_load_amps)
        frame(SINGLE_PHASE).volts_class(self.volts)
        for name, limits, unit in (
            ("run_ohms", _OHMS, "Ω"),
            ("start_ohms", _OHMS, "Ω"),
            ("horsepower", _HORSEPOWER, "hp"),
            ("displacement", _DISPLACEMENT, "m³"),
            ("ohms_factor", (1.0, 10.0), "(1 is exact)"),
        ):
            value = getattr(self, name)
            if value is not None:
                between(value, *limits, name, unit)
        lra, rla = self.locked_rotor_amps, self.rated_load_amps
        if lra is not None and rla is not None and lra <= rla:
            raise OutOfRange(
                Message(
                    "locked-rotor amps must exceed rated-load amps, got LRA {lra:g} and RLA "
                    "{rla:g}: swapped?",
                    lra=lra,
                    rla=rla,
                )
            )
        if self.poles not in (None, 2, 4, 6, 8):
            raise OutOfRange(Message("poles must be 2, 4, 6 or 8, got {poles}", poles=repr(self.poles)))
        if self.gear is None and self.run_capacitor is None:
            raise OutOfRange(
                Message("a motor needs a start gear, a run capacitor or both in its start circuit")
            )


def at_hand(
    machine: Machine,
    *,
    run_ohms: float | None = None,
    start_ohms: float | None = None,
    horsepower: float | None = None,
    displacement: float | None = None,
    poles: int | None = None,
) -> AtHand:
    """
    What is at hand about the motor of a machine on the bench.

    Parameters
    ----------
    run_ohms, start_ohms : float or None
        Measured between the pins, at 25 °C; else what the machine knows, else nothing. [Ω]

    Raises
    ------
    Refused
        If the machine has no run and start winding of its own (three-phase, inverter-driven).
    """
    windings = {"run_ohms": machine.has(Role.RUN_WINDING), "start_ohms": machine.has(Role.START_WINDING)}
    if None in windings.values():
        raise Refused(
            Message(
                "{title}: the start is worked out for single-phase motors with a run and a "
                "start winding only",
                title=machine.arrangement.title,
            )
        )
    plate = machine.nameplate
    read = {"run_ohms": run_ohms, "start_ohms": start_ohms}
    factor = spread(read_data("humclick.start", "estimate.toml")["reading"]["ohms"], "reading.ohms").factor
    for name, winding in windings.items():
        known = machine.known.get(f"{winding.id}.winding") if winding else None
        if read[name] is None and known is not None:
            read[name], factor = known.median, max(factor, known.factor)
    starter, gear = machine.has(Role.STARTER), None
    if starter is not None:
        size = starter.family.gear_ohms
        gear = machine.size(starter.id, size) if size else _CONTACT
    capacitor = _capacitor(machine, Role.START_CAPACITOR)
    return AtHand(
        volts=plate.volts,
        hertz=plate.hertz,
        locked_rotor_amps=plate.locked_rotor_amps,
        rated_load_amps=plate.rated_load_amps,
        horsepower=horsepower,
        displacement=displacement,
        run_ohms=read["run_ohms"],
        start_ohms=read["start_ohms"],
        ohms_factor=factor,
        gear=gear,
        start_capacitor=capacitor,
        run_capacitor=_capacitor(machine, Role.RUN_CAPACITOR),
        poles=poles,
        split_phase=machine.arrangement.abbreviation in _RESISTANCE_START
        and gear is _CONTACT
        and not capacitor,
    )


def _capacitor(machine: Machine, role: Role) -> Spread | None:
    part = machine.has(role)
    return machine.size(part.id, "capacitance") if part else None
