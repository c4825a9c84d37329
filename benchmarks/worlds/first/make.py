"""A call of the first world: machine, damage, complaint, technician."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from benchmarks.worlds.face import Opening, Plate, Truth
from benchmarks.worlds.first import motors
from benchmarks.worlds.first.attempts import after, attempt, cooled
from benchmarks.worlds.first.hands import Hands, technician
from benchmarks.worlds.first.things import LAYOUT, Unit
from benchmarks.worlds.first.wear import FAULTS, Fault, fits, hit, truth

GEAR = {"rsir": "split", "csir": "capacitor start", "rscr": "split", "timed": "capacitor start"}
WORDS = {
    "silent": ("dead, no noise at all", "nothing happens", "it is quiet"),
    "hum": ("hums and does not start", "buzzing for long"),
    "hum_click": ("hums, then clicks", "a click every few minutes", "tries and gives up"),
    "starts_then_trips": ("runs a moment, then stops", "starts and quits"),
    "breaker": ("trips the breaker", "takes the whole circuit out"),
    "unknown": ("it does not get cold", "warm since the weekend"),
    "runs": ("seems to run now",),
}
NEAR = {
    "silent": ("hum_click", "unknown"),
    "hum": ("hum_click", "silent"),
    "hum_click": ("hum", "starts_then_trips", "silent"),
    "starts_then_trips": ("hum_click", "runs"),
}
"""What a customer takes it for."""

CODES = (22, 27, 33, 39, 47, 56, 68, 82, 100, 120, 145, 175, 210, 270, 340, 430, 540)
"""Lower end of the stamped range of start capacitors. [µF]"""


@dataclass
class Scene:
    """Everything a case begins with."""

    unit: Unit
    opening: Opening
    truth: Truth
    hands: Hands
    pins: tuple[str, str, str]


def machine(rng: np.random.Generator) -> Unit:
    """A machine as new, of any size of the trade that its arrangement is made in."""
    horsepower = float(motors.SIZES[rng.choice(len(motors.SIZES), p=_size_odds())])
    horsepower *= float(rng.lognormal(0, 0.06))
    small = (
        "rsir-ptc",
        "csir-ptc",
        "rscr-ptc",
        "rsir-current-relay",
        "csir-current-relay",
        "timed-starter",
        "rsir-assist-relay",
        "rsir-assist-switch",
        "psc-ptc-assist",
    )
    large = ("csr-potential-relay", "psc", "psc-assist-relay", "psc-assist-switch", "psc-ptc-assist")
    pool = small if horsepower < 0.45 else large if horsepower > 0.9 else (*small, *large)
    arrangement = str(rng.choice(pool))
    volts = 115.0 if horsepower < 1.2 and rng.random() < (0.8 if horsepower < 0.5 else 0.5) else 230.0
    protectors = ("external", "internal")
    if arrangement == "timed-starter":
        protectors = ("integrated", "internal")
    inner = rng.random() < min(0.85, 0.15 + 0.5 * horsepower)
    protector = protectors[1] if inner else protectors[0]
    hertz = 50.0 if volts == 230.0 and rng.random() < 0.3 else 60.0
    gear = GEAR.get(arrangement.split("-")[0], "permanent capacitor")
    built = motors.motor(rng, horsepower, volts, hertz, gear)
    return Unit(arrangement, protector, built, _sizes(rng, built), room=float(rng.uniform(15, 43)))


def _size_odds() -> list[float]:
    odds = (3, 5, 9, 9, 8, 9, 8, 8, 6, 6, 4, 5, 4, 3)
    return [each / sum(odds) for each in odds]


def _sizes(rng: np.random.Generator, built: motors.Motor) -> dict[str, float]:
    def about(middle: float, spread: float) -> float:
        return float(middle * np.exp(spread * rng.normal()))

    start = next((code for code in CODES if code * 1.12e-6 >= built.start_farads), CODES[-1])
    pressure = about(3.0, 0.5)
    sizes = {
        "insulation": about(4e8, 1.0),
        "protector": about(min(0.2, 0.5 / built.running), 0.3),
        "ptc": about(built.volts / 115.0 * 8.0 if built.horsepower < 0.4 else 20.0, 0.35),
        "contact": about(0.04, 0.5),
        "potential_coil": about(3500.0 * built.volts / 115.0, 0.4),
        "current_coil": about(0.25 / built.running, 0.4),
        "board": 3e7,
        "wire": about(0.012, 0.5),
        "cord": about(0.25 * 4.0 / max(4.0, built.running), 0.4),
        "control": about(0.05, 0.6),
        "earth": about(0.09, 0.5),
        "start_capacitor": start * 1.1e-6 * float(rng.uniform(0.93, 1.07)),
        "run_capacitor": round(built.run_farads * 1e6 / 2.5 + 0.5) * 2.5e-6 * float(rng.uniform(0.95, 1.05)),
        "line": float(rng.normal(1.0, 0.02)),
        "need": 1 / max(1.3, about(2.0, 0.22)),
        "trip": float(rng.uniform(0.6, 1.4)),
        "bimetal": about(12.0, 0.3),
        "cooling": about(1.2, 0.45),
        "equal": pressure,
        "light": float(rng.random()),
        "stamp_start": float(start),
        "stamp_run": round(built.run_farads * 1e6 / 2.5 + 0.5) * 2.5,
    }
    if rng.random() < 0.3:
        sizes["start_capacitor.bleed"] = 15e3
    return sizes


def scene(rng: np.random.Generator) -> Scene:
    """A call: machines are drawn and damaged until one fails as its physics says."""
    while True:
        unit = machine(rng)
        faults: list[Fault] = []
        pool = [fault for fault in FAULTS if fits(fault, unit)]
        odds = np.array([fault.rate for fault in pool])
        for _ in range(int(rng.choice([1, 2, 3], p=[0.85, 0.12, 0.03]))):
            fault = pool[int(rng.choice(len(pool), p=odds / odds.sum()))]
            if any(fault.part == other.part for other in faults):
                continue
            faults.append(fault)
            unit = hit(unit, fault, rng)
        if rng.random() < 0.03:
            unit = replace(unit, condition={**unit.condition, "earth.open": 1.0})
        tried = attempt(unit, float(rng.random()), 25.0)
        if tried.heard == "runs":
            continue
        matter = truth(unit, faults)
        unit = _arrives(unit, tried.heard, rng)
        hands = technician(rng)
        pins = tuple(str(each) for each in rng.permutation(["C", "S", "R"]))
        return Scene(
            unit, _opening(unit, tried.heard, hands, rng), matter, hands, (pins[0], pins[1], pins[2])
        )


def _arrives(unit: Unit, heard: str, rng: np.random.Generator) -> Unit:
    """The machine as the technician meets it: tries went on until some minutes ago."""
    if unit.pressure or unit.of("protector.tripped_now"):
        return unit
    if heard in ("hum", "hum_click", "starts_then_trips"):
        for _ in range(int(rng.integers(1, 5))):
            unit = cooled(after(unit, attempt(unit, float(rng.random()))), float(rng.uniform(1, 6)))
    return cooled(unit, float(rng.exponential(25.0)))


def _opening(unit: Unit, heard: str, hands: Hands, rng: np.random.Generator) -> Opening:
    told = heard
    if rng.random() < 0.08:
        told = "unknown"
    elif rng.random() < 0.06:
        told = str(rng.choice(NEAR.get(heard, (heard,))))
    built = unit.motor
    seen = rng.random()
    lra = round(built.locked, 1) if seen < 0.55 else None
    rla = round(built.running, 1) if seen > 0.35 and rng.random() < 0.6 else None
    gas = str(rng.choice(["R134a", "R404A", "R290", "R600a", "R22", ""]))
    plate = Plate(unit.arrangement, unit.protector, built.volts, built.hertz, lra, rla, gas, built.horsepower)
    leads: str | float | None = None
    if hands.nulled:
        leads = "nulled"
    elif hands.measured_leads:
        leads = round(hands.lead, 1)
    stamps = {}
    for name, _, _ in LAYOUT[unit.arrangement]:
        if name == "start_capacitor" and rng.random() < 0.8:
            low = int(unit.cold["stamp_start"])
            stamps[name] = f"{low}-{round(low * 1.2)} MFD {'165' if built.volts < 200 else '330'} VAC"
        elif name == "run_capacitor" and rng.random() < 0.85:
            stamps[name] = f"{unit.cold['stamp_run']:g} uF 370 VAC"
    return Opening(plate, told, str(rng.choice(WORDS[told])), hands.meter, leads, stamps)
