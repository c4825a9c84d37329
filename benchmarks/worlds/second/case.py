"""What each probe shows in the second world: each by a rule of its own, without a circuit."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import numpy as np

from benchmarks.worlds.face import Opening, Plate, Shown, Truth
from benchmarks.worlds.second.ageing import GEAR, State
from benchmarks.worlds.second.answers import SEEN
from benchmarks.worlds.second.calls import failed, put_right, truth
from benchmarks.worlds.second.people import Person, person
from benchmarks.worlds.second.starts import Start, connector_ohms, farads_left, film_ohms, ground_ohms, try_it

OPEN = 1e10
SAYS = {
    "silent": "it does nothing",
    "hum": "it groans",
    "hum_click": "it groans and ticks off",
    "starts_then_trips": "it comes on for a bit",
    "breaker": "the breaker goes",
    "unknown": "food is warm",
    "runs": "on and off",
}
PARTS = {
    "ptc": "pill",
    "timed_starter": "board",
    "current_relay": "current relay",
    "potential_relay": "voltage relay",
    "start_capacitor": "start cap",
    "run_capacitor": "run cap",
    "overload_protector": "protector",
    "control": "thermostat",
}


def case(seed: int, number: int) -> SecondCase:
    """The case of that number; the same for the same seed."""
    rng = np.random.default_rng((seed, number, 2))
    return SecondCase(failed(rng), person(rng), rng)


class SecondCase:
    """A machine with a past, a person with habits, and chance."""

    def __init__(self, state: State, who: Person, rng: np.random.Generator) -> None:
        self.state = state
        self.who = who
        self.rng = rng
        self._truth = truth(state)
        self._opening = self._opened()
        self.wait(float(rng.gamma(1.5, 12.0)) if not state.passing else float(rng.uniform(0.5, 6)))

    @property
    def opening(self) -> Opening:
        """How the call is opened."""
        return self._opening

    @property
    def truth(self) -> Truth:
        """What is the matter."""
        return self._truth

    def _opened(self) -> Opening:
        state, rng, built = self.state, self.rng, self.state.built
        tried = try_it(state, float(rng.random()), 20.0).heard
        for _ in range(9):
            if tried != "runs":
                break
            tried = try_it(state, float(rng.random()), 20.0).heard
        self._warm(tried)
        draw = rng.random()
        told = "unknown" if draw < 0.12 else "hum_click" if draw < 0.16 and tried == "hum" else tried
        told = "hum" if tried == "hum_click" and draw > 0.95 else told
        has_lra = rng.random() < (0.75 if built.horsepower > 0.8 else 0.35)
        plate = Plate(
            built.arrangement,
            built.protector,
            built.volts,
            built.hertz,
            float(f"{built.lra:.3g}") if has_lra else None,
            float(f"{built.rla:.2g}") if rng.random() < 0.45 else None,
            str(rng.choice(["R134a", "R600a", "R404A", "R410A", "R290", ""])),
            built.horsepower,
        )
        leads = "nulled" if self.who.nulled else round(self.who.lead, 1) if self.who.measured else None
        stamps = {}
        gear = GEAR[built.arrangement]
        if "start cap" in gear and rng.random() < 0.7:
            stamps["start_capacitor"] = f"{built.start_uf * 0.92:.0f}-{built.start_uf * 1.1:.0f} uF"
        if "run cap" in gear and rng.random() < 0.9:
            stamps["run_capacitor"] = f"{built.run_uf:.3g} uF 440 VAC"
        return Opening(plate, told, SAYS[told], self.who.meter, leads, stamps)

    # -- time -----------------------------------------------------------------------------------------------

    def wait(self, minutes: float) -> None:
        """Let it stand; it cools by halves, slower in a hot kitchen. [min]"""
        state = self.state
        half = 18.0 * state.built.appliance.heat
        state.warmth *= 0.5 ** (minutes / half)
        state.hot = max(0.0, state.hot - minutes)
        state.pill = max(0.0, state.pill - minutes)
        state.uneven *= exp(-minutes / 2.6)
        if state.hot == 0.0:
            state.passing.pop("tripped", None)
        if state.uneven < 0.1:
            state.passing.pop("pressures", None)

    def _warm(self, heard: str) -> None:
        state, rng = self.state, self.rng
        if heard == "silent":
            return
        state.pill = float(rng.lognormal(np.log(4.0), 0.3))
        state.warmth = min(70.0, state.warmth + (8.0 if heard != "runs" else 4.0))
        if heard in ("hum_click", "starts_then_trips"):
            long = state.built.protector == "internal"
            state.warmth = max(state.warmth, 30.0)
            slow = state.built.appliance.heat * (1 + state.warmth / 60)
            state.hot = max(state.hot, float(rng.lognormal(np.log(25 if long else 2.5), 0.6)) * slow)
        if heard in ("runs", "starts_then_trips"):
            state.uneven = 0.7

    # -- answers --------------------------------------------------------------------------------------------

    def shows(self, probe: str) -> Shown | None:
        """What a probe shows; None where this person cannot take it."""
        kind, _, name = probe.partition(".")
        if probe in SEEN:
            answers = SEEN[probe](self.state)
            if self.rng.random() < self.who.kind.slip:
                return Shown(str(self.rng.choice(list(answers))))
            odds = list(answers.values())
            return Shown(str(self.rng.choice(list(answers), p=np.divide(odds, sum(odds)))))
        if kind in ("attempt", "fit"):
            return self._tried(kind, name)
        if kind in ("supply", "feed"):
            return self._volts(kind, name)
        if kind == "proof":
            return self._proof(name)
        if name == "farads":
            return self._noted(self.who.shows("uF", self._microfarads(PARTS[kind]), self.rng))
        if probe == "shell.insulation":
            return self._noted(self._meg() if self.who.insulation else None)
        return self._ohms(probe)

    def _noted(self, text: str | None) -> Shown | None:
        if text is None:
            return None
        if not self.who.notes_heat:
            return Shown(text)
        warm = self.state.warmth
        return Shown(text, "hot" if warm > 12 else "cold")

    def _meg(self) -> str:
        ohms = ground_ohms(self.state) * float(self.rng.lognormal(0, 0.1))
        return "OL" if ohms > 2e9 else f"{ohms / 1e6:.3g} Mohm"

    def _microfarads(self, part: str) -> float:
        state = self.state
        stamped = state.built.start_uf if part == "start cap" else state.built.run_uf
        if state.broken(part, "short"):
            return 9e9
        if state.broken(part, "open"):
            return float(self.rng.uniform(0.0, 0.02))
        return stamped * farads_left(state.hurt(part, "dries"))

    def true_ohms(self, probe: str) -> float:
        """What perfect hands and meter show. [Ω]"""
        kind, _, name = probe.partition(".")
        if probe == "leads.short":
            return 0.0
        if kind == "pins":
            return self._pins(name)
        if kind == "between":
            return self._between(name)
        if kind == "earth":
            return OPEN if self.state.broken("ground wire") else 0.12
        return self._part(PARTS[kind], name)

    def _pins(self, name: str) -> float:
        state = self.state
        built, warm = state.built, 1 + 0.00393 * state.warmth
        if name == "shell":
            return ground_ohms(state)
        run = built.run_ohms * warm * (1 - 0.35 * max(0.0, state.hurt("windings", "run short") - 0.5))
        start = built.start_ohms * warm * (1 - 0.35 * max(0.0, state.hurt("windings", "start short") - 0.5))
        run = OPEN if state.broken("windings", "run open") else max(run, 0.05)
        start = OPEN if state.broken("windings", "start open") else max(start, 0.05)
        shut = state.built.protector == "internal" and (state.hot > 0 or state.broken("protector", "open"))
        bridge = 2.0 if state.broken("windings", "bridged") else OPEN
        common = OPEN if shut else 0.02
        ends = set(name.translate(str.maketrans("123", "RSC")).split("-"))
        if ends == {"S", "R"}:
            return _beside(run + start, bridge)
        if ends == {"C", "R"}:
            return common + _beside(run, start + bridge)
        return common + _beside(start, run + bridge)

    def _between(self, name: str) -> float:
        """Of two points with everything plugged on, by the way a person would reckon. [Ω]"""
        state = self.state
        a, b = name.split("-")
        same = {frozenset("cC"): "common", frozenset("sS"): "start", frozenset("rR"): "run"}.get(
            frozenset((a, b))
        )
        if same:
            return 0.03 + connector_ohms(state, same)
        if {a, b} == {"l", "k"}:
            return self._part("thermostat", "ohms")
        if {a, b} == {"n", "c"}:
            return self._part("protector", "ohms") if state.built.protector != "internal" else 0.01
        if {a, b} in ({"L", "l"}, {"N", "n"}):
            return OPEN if state.broken("plug", "one wire off") and b == "n" else state.cord / 2
        hot, cold = {"l", "k", "r", "R", "L"}, {"n", "c", "C", "N"}
        if (a in hot and b in cold) or (a in cold and b in hot):
            return self._pins("C-R") + connector_ohms(state, "run") + connector_ohms(state, "common")
        return self._pins("C-S") if {a, b} & cold else self._pins("S-R")

    def _part(self, part: str, name: str) -> float:
        """A part off the machine. [Ω]"""
        state, rng = self.state, self.rng
        if part == "pill":
            if state.broken(part, "breaks"):
                return OPEN if rng.random() < 0.75 else state.built.pill * float(rng.uniform(1.5, 9))
            shut = 1.5 if state.broken(part, "melts shut") else state.built.pill
            hot = 10 ** min(4.0, 1.3 * state.pill)
            return shut * (1 + 1.2 * max(0.0, state.hurt(part, "weak") - 0.4)) * (1.0 if shut == 1.5 else hot)
        if part in ("current relay", "voltage relay"):
            if name == "coil":
                gone = state.broken(part, "coil burnt")
                wrong = 0.35 if "wrong relay" in state.passing else 1.0
                return (
                    OPEN
                    if gone
                    else state.built.coil * wrong
                    if part == "voltage relay"
                    else 0.3 / state.built.rla
                )
            if state.broken(part, "sticks shut"):
                return 0.02
            open_now = part == "current relay" and (name == "at_rest" or state.broken(part, "jammed"))
            return (
                OPEN
                if open_now or state.broken(part, "never closes")
                else 0.05 + film_ohms(state.hurt(part, "film"))
            )
        if part == "protector":
            return (
                OPEN
                if state.hot > 0 or state.broken(part, "open")
                else 0.15 + film_ohms(state.hurt(part, "burnt contact"))
            )
        if part == "thermostat":
            return OPEN if state.broken(part, "open") else 0.08 + film_ohms(state.hurt(part, "burnt contact"))
        if state.broken(part, "short"):
            return 0.7
        return 4e4 / state.hurt(part, "leaks") if state.broken(part, "leaks") else 2.5e7

    def _ohms(self, probe: str) -> Shown | None:
        who, rng = self.who, self.rng
        asked = probe
        if who.swaps and probe in ("pins.C-R", "pins.C-S"):
            asked = "pins.C-S" if probe.endswith("R") else "pins.C-R"
        true = self.true_ohms(asked)
        slip = rng.random()
        if slip < 0.4 * who.kind.slip:
            true = OPEN
        elif slip < who.kind.slip and probe.startswith("pins.") and "shell" not in probe:
            gear = self._pins("S-R") if "pill" not in self.state.damage else self.state.built.pill
            true = _beside(true, gear + self._pins("C-R"))
        elif slip < 2 * who.kind.slip:
            true += float(rng.gamma(1.2, 1.0))
        return self._noted(who.shows("ohm", true + (0.0 if who.nulled else who.lead), rng))

    # -- under power ----------------------------------------------------------------------------------------

    def _volts(self, kind: str, name: str) -> Shown | None:
        state, rng, built = self.state, self.rng, self.state.built
        low = 1 - state.passing.get("low volts", 0.0)
        rest = 0.0 if state.broken("plug", "dead outlet") else built.volts * state.volts * low
        if name == "volts_start":
            true = self._start(state).volts
        elif kind == "feed":
            tried = self._start(state)
            blocked = state.broken("thermostat") and state.mode["thermostat"] != "burnt contact"
            true = 0.0 if blocked or "set warm" in state.passing else tried.volts
            if true == 0.0 and rest and rng.random() < 0.3:
                true = float(rng.uniform(2, 70))
        elif name == "volts_neutral":
            true = rest / 2 if built.volts > 200 and built.hertz == 60 else float(rng.gamma(1.5, 0.4))
        else:
            true = rest / 2 if name == "volts_ground" and built.volts > 200 and built.hertz == 60 else rest
        text = self.who.shows("V", true, rng)
        return None if text is None else Shown(text)

    def _start(self, state: State) -> Start:
        tried = try_it(state, float(self.rng.random()))
        self._warm(tried.heard)
        return tried

    def _tried(self, kind: str, name: str) -> Shown | None:
        who, state = self.who, self.state
        if kind == "fit":
            things = self._fitted(name)
            if not things:
                return None
            self.state = put_right(state, things)
            if "protector" in things:
                self.state.hot = 0.0
            return Shown(self._start(self.state).heard)
        if (
            name == "recorded"
            or (name == "amps" and not who.clamp)
            or (name == "known_good" and not who.gear)
        ):
            return None
        if name == "known_good":
            lent = (
                *GEAR[state.built.arrangement],
                "plug",
                "thermostat",
                "connector",
                "set warm",
                "long cord",
                "low volts",
                "leads swapped",
                "relay upside down",
                "wrong relay",
            )
            if state.built.protector != "internal":
                lent = (*lent, "protector", "tripped")
            other = put_right(replace(state, cord=0.2), lent)
            return Shown(self._start_of(other))
        tried = self._start(state)
        if name == "amps":
            return Shown(f"{tried.amps * (1 + 0.04 * float(self.rng.normal())):.1f} A")
        return Shown(tried.heard)

    def _start_of(self, other: State) -> str:
        heard = try_it(other, float(self.rng.random())).heard
        hot = self.state.hot
        self._warm(heard)
        if self.state.built.protector != "internal":
            self.state.hot = hot
        return heard

    def _fitted(self, name: str) -> tuple[str, ...]:
        if name == "mechanism":
            return ("condenser",)
        if name == "wiring":
            return ("connector", "leads swapped", "relay upside down")
        part = PARTS.get(name)
        if part is None or not self.who.spares:
            return ()
        return (part, "wrong relay") if "relay" in name else (part,)

    def _proof(self, name: str) -> Shown | None:
        if name == "sight":
            return Shown("all as it should be")
        if not self.who.leakage:
            return None
        amps = min(self.state.built.volts / ground_ohms(self.state), 15.0)
        return Shown(f"{amps * 1000 + float(self.rng.gamma(2, 0.08)):.2f} mA")


def _beside(a: float, b: float) -> float:
    """Two resistances side by side. [Ω]"""
    return a * b / (a + b) if a + b else 0.0
