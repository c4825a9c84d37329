"""What each probe shows in the first world."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from benchmarks.worlds.face import Opening, Shown, Truth
from benchmarks.worlds.first import things
from benchmarks.worlds.first.attempts import Tried, after, attempt, cooled, outlet_volts, standstill
from benchmarks.worlds.first.hands import written
from benchmarks.worlds.first.looks import LOOKS
from benchmarks.worlds.first.make import Scene, scene
from benchmarks.worlds.first.nodal import Branch, ohms_between

FITS = {"overload_protector": "protector", "wiring": "wiring", "mechanism": "mechanism", "control": "control"}


def case(seed: int, number: int) -> FirstCase:
    """The case of that number; the same for the same seed."""
    rng = np.random.default_rng((seed, number, 1))
    return FirstCase(scene(rng), rng)


class FirstCase:
    """A machine, a technician, and chance."""

    def __init__(self, begun: Scene, rng: np.random.Generator) -> None:
        self.unit = begun.unit
        self.hands = begun.hands
        self.pins = begun.pins
        self.rng = rng
        self._opening = begun.opening
        self._truth = begun.truth

    @property
    def opening(self) -> Opening:
        """How the call is opened."""
        return self._opening

    @property
    def truth(self) -> Truth:
        """What is the matter."""
        return self._truth

    def wait(self, minutes: float) -> None:
        """Let it stand; some come back too soon. [min]"""
        short = float(self.rng.uniform(0.4, 1.0)) if self.hands.slips(self.rng, 0.15) else 1.0
        self.unit = cooled(self.unit, minutes * short)

    def shows(self, probe: str) -> Shown | None:
        """What a probe shows; None where this technician cannot take it."""
        kind, _, name = probe.partition(".")
        if kind == "attempt":
            return self._attempt(name)
        if kind == "fit":
            return self._fit(name)
        if probe in LOOKS:
            seen = LOOKS[probe](self.unit, self.hands, self.rng)
            if probe == "control.setting":
                self.unit = replace(self.unit, calling=True)
            return Shown(seen)
        if kind == "supply" or kind == "feed":
            return self._volts(name if kind == "supply" else "feed")
        if kind == "proof":
            return self._proof(name)
        if name == "farads":
            branch = things.capacitor(self.unit, kind, "a", "b")
            return self._display("F", self._farads(kind, branch))
        return self._ohms(probe)

    # -- ohms and farads ------------------------------------------------------------------------------------

    def clean_ohms(self, probe: str) -> float:
        """What an ideal meter in careful hands shows. [Ω]"""
        branches, pairs = self._place(probe)
        return min(ohms_between(branches, a, b) for a, b in pairs)

    def _place(self, probe: str) -> tuple[Sequence[Branch], list[tuple[str, str]]]:
        unit, (kind, _, name) = self.unit, probe.partition(".")
        inner = things.compressor(unit)
        if kind == "pins" and name != "shell":
            by_number = dict(zip("123", self.pins, strict=True))
            a, b = (by_number.get(end, end) for end in name.split("-"))
            return inner, [(a, b)]
        if probe in ("pins.shell", "shell.insulation"):
            return inner, [(pin, "shell") for pin in "CSR"]
        if kind == "between":
            a, b = name.split("-")
            return things.whole(unit, jolt=float(self.rng.random())), [(a, b)]
        return [Branch(probe, "a", "b", self._alone(probe))], [("a", "b")]

    def _alone(self, probe: str) -> float:
        """A part by itself, off the machine. [Ω]"""
        unit, (kind, _, name) = self.unit, probe.partition(".")
        if probe == "leads.short":
            return 1e-4
        if kind == "ptc":
            return things.pill_ohms(unit, float(self.rng.random()))
        if kind == "earth":
            return things.OPEN if unit.of("earth.open") else unit.cold["earth"]
        if kind == "overload_protector":
            return things.protector_ohms(unit)
        if kind == "control":
            calls = replace(unit, calling=True)
            return next(branch.ohms for branch in things.outside(calls) if branch.part == "control")
        if name == "coil":
            gone = unit.of(f"{kind}.coil_open")
            return (
                things.OPEN
                if gone
                else unit.cold["current_coil" if kind == "current_relay" else "potential_coil"]
            )
        if kind == "current_relay":
            over = name == "turned_over" and not unit.of("current_relay.plunger")
            return things.contact_ohms(unit, kind, rest_closed=over)
        if kind == "potential_relay":
            return things.contact_ohms(unit, kind, rest_closed=True)
        return things.capacitor(unit, kind, "a", "b").ohms

    def _ohms(self, probe: str) -> Shown | None:
        hands, rng = self.hands, self.rng
        if probe == "shell.insulation" and not hands.insulation:
            return None
        true = self.clean_ohms(probe)
        if probe == "shell.insulation":
            return self._noted(written("ohm", true * float(rng.uniform(0.93, 1.07))) if true < 2e9 else "OL")
        if probe.startswith("pins.") and "shell" not in probe:
            if hands.slips(rng, 0.015):
                true = ohms_between(things.whole(self.unit), *self._place(probe)[1][0])
            elif hands.slips(rng, 0.008):
                wrong = rng.permutation(["C", "S", "R"])
                true = ohms_between(things.compressor(self.unit), str(wrong[0]), str(wrong[1]))
        if hands.slips(rng, 0.012):
            true = things.OPEN
        elif hands.slips(rng, 0.04):
            true += float(rng.exponential(1.5))
        leads = 0.0 if hands.nulled else hands.lead
        return self._display("ohm", true + leads + float(rng.exponential(0.04)), nulled=hands.nulled)

    def _farads(self, kind: str, branch: Branch) -> float:
        if f"{kind}.short" in self.unit.condition or branch.ohms < 500.0:
            return 1.0
        if self.unit.of(f"{kind}.open"):
            return float(self.rng.uniform(1e-11, 4e-10))
        return self.unit.cold[kind] * (1 - self.unit.of(f"{kind}.loss"))

    def _display(self, quantity: str, true: float, *, nulled: bool = False) -> Shown | None:
        text = self.hands.reads(quantity, true, self.rng)
        return None if text is None else self._noted(text)

    def _noted(self, text: str) -> Shown:
        if not self.hands.writes_heat:
            return Shown(text)
        hot = self.unit.winding > self.unit.room + 15
        if self.hands.slips(self.rng, 0.08):
            hot = not hot
        return Shown(text, "hot" if hot else "cold")

    # -- under power ----------------------------------------------------------------------------------------

    def _volts(self, name: str) -> Shown | None:
        unit, rng = self.unit, self.rng
        rest = outlet_volts(unit) * (1 + 0.004 * float(rng.normal()))
        true = {"volts": rest, "volts_ground": rest, "volts_neutral": float(rng.uniform(0.0, 1.5))}.get(name)
        if unit.motor.volts > 200 and unit.motor.hertz == 60:
            true = {"volts_ground": rest / 2, "volts_neutral": rest / 2}.get(name, true)
        if true is None:
            if name == "feed":
                _, _, _, nodes = standstill(unit, rest, float(rng.random()))
                true = abs(nodes["k"] - nodes["n"])
                if unit.of("supply.open") or true < 1.0:
                    true = float(rng.uniform(0, 0.35)) * rest * float(rng.random() < 0.6)
            else:
                true = self._tries(unit).volts
        shown = self.hands.reads("V", true, rng)
        return None if shown is None else Shown(shown)

    def _tries(self, unit: things.Unit) -> Tried:
        tried = attempt(unit, float(self.rng.random()))
        self.unit = replace(after(unit, tried), cold=self.unit.cold)
        return tried

    def _attempt(self, name: str) -> Shown | None:
        hands, rng = self.hands, self.rng
        if (
            name == "recorded"
            or (name == "amps" and not hands.clamp)
            or (name == "known_good" and not hands.known_good)
        ):
            return None
        if name == "known_good":
            swapped = ("supply", "control", "wiring", "terminals", "protector", *self.unit.parts)
            kept = (
                swapped
                if self.unit.protector != "internal"
                else tuple(x for x in swapped if x != "protector")
            )
            lent = replace(self.unit.repaired(*kept), pill=self.unit.room)
            if self.unit.protector != "internal":
                lent = replace(lent, bimetal=self.unit.room)
            tried = attempt(lent, float(rng.random()))
            warmed = after(self.unit, tried)
            self.unit = replace(warmed, condition=self._kept_trip(warmed, tried))
            return Shown(self._heard(tried.heard))
        tried = self._tries(self.unit)
        if name == "amps":
            text = written("A", round(tried.amps * (1 + 0.03 * float(rng.normal())), 1))
            return Shown(text)
        return Shown(self._heard(tried.heard))

    def _kept_trip(self, warmed: things.Unit, tried: Tried) -> dict[str, float]:
        if self.unit.protector == "internal":
            return dict(warmed.condition)
        return dict(self.unit.condition)

    def _heard(self, heard: str) -> str:
        """What a person says: a short hum and a click are mixed up at times."""
        if heard in ("hum", "hum_click") and self.hands.slips(self.rng, 0.05):
            return "hum" if heard == "hum_click" else "hum_click"
        return heard

    def _fit(self, name: str) -> Shown | None:
        part = FITS.get(name, name)
        if part in ("wiring", "mechanism"):
            keys = {
                "wiring": ("wiring.", "terminals.", "current_relay.upside"),
                "mechanism": ("mechanism.blocked",),
            }[part]
            left = {k: v for k, v in self.unit.condition.items() if not k.startswith(keys)}
            self.unit = replace(self.unit, condition=left)
        elif not self.hands.spare:
            return None
        else:
            self.unit = self.unit.repaired(part)
            if part == "ptc":
                self.unit = replace(self.unit, pill=self.unit.room)
            elif part == "protector":
                self.unit = replace(self.unit, bimetal=self.unit.room)
        return Shown(self._heard(self._tries(self.unit).heard))

    def _proof(self, name: str) -> Shown | None:
        if name == "sight":
            return Shown("all as it should be")
        if not self.hands.leak_clamp:
            return None
        leak = min(outlet_volts(self.unit) / max(self.clean_ohms("pins.shell"), 1.0), 20.0)
        return Shown(f"{leak * 1e3 + float(self.rng.uniform(0.02, 0.3)):.2f} mA")
