"""The kernel's unrolled step comes to what the equations come to, as the books write them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from humclick.start import kernel
from humclick.start import rows as r
from humclick.start.case import Faults, StartCase, Supply
from humclick.start.network import gammas
from humclick.start.packed import pack_case
from tests.start import equations
from tests.start.machines import KRAUSE

LANES = 4
_KINDS = ("NONE", "PLAIN", "PTC", "CURRENT", "POTENTIAL", "TIMED", "SPEEDSWITCH")
#: Rows of the workspace by their names in small letters.
ROWS: dict[str, int] = {
    name.lower(): row
    for name, row in vars(r).items()
    if isinstance(row, int) and not name.startswith(("P_", "E_")) and name not in (*_KINDS, "STATES")
    if row < r.ROWS and name not in ("ROWS", "COLUMNS")
}
STATE = {name: row for name, row in ROWS.items() if row < r.STATES}


def lane(seed: int) -> dict[str, float]:
    """A machine, a state and a step, drawn: every contact either way, standing, creeping and running."""
    rng = np.random.default_rng(seed)

    def log(low: float, high: float) -> float:
        return float(math.exp(rng.uniform(math.log(low), math.log(high))))

    def either(*values: float) -> float:
        return float(rng.choice(values))

    size, ratio, hertz = log(0.2, 5.0), log(0.6, 1.8), either(50.0, 60.0)
    ohms = {name: getattr(KRAUSE, name) * size * log(0.7, 1.4) for name in ("run_ohms", "rotor_ohms")}
    motor = replace(
        KRAUSE, **ohms, turns_ratio=ratio, inertia=log(3e-4, 0.02), hertz=hertz, rotor_ohms_d=None,
        rotor_leakage_d=None, run_leakage=2.79 * size, run_magnetizing=66.8 * size,
        start_magnetizing=66.8 * size * ratio**2, rotor_leakage=2.12 * size,
    )  # fmt: skip
    faults = Faults(run_shorted=either(0.0, 0.0, 0.1), short_ohms=log(0.01, 1.0))
    packed = pack_case(StartCase(motor, Supply(115.0, hertz, 0.3, log(1e-5, 1e-3)), faults=faults))
    table = np.zeros((5, 15))
    gammas(packed, table)
    line, h = either(0.0, 1.0, 1.0), log(1e-5, 3e-4)
    found = dict.fromkeys(ROWS, 0.0)
    found |= {name: rng.normal(0.0, 100.0) for name in ("vs", "vr", "vn", "e")}
    found |= {name: rng.normal(0.0, 15.0) for name in ("iq", "id", "ir", "im", "if", "il", "is")}
    found |= {name: log(1e-3, 1e3) for name in ("aq", "ad", "al", "as", "aw", "ar", "at", "yi", "yv")}
    found |= {f"{way}{k}": rng.normal(0.0, 0.5) for way in "cs" for k in range(1, 5)}
    found |= {
        "h": h, "impl": either(0.5, 1.0), "free": either(0.0, 1.0), "line": line, "gson": either(0.0, 1.0),
        "gron": either(0.0, 1.0), "gb": either(0.0, log(0.1, 100.0)),
        "gd": line * either(0.0, log(1e-4, 1.0)),
        "speed": either(0.0, rng.normal(0.0, 5.0), 2 * math.pi * hertz * rng.uniform(-1.0, 1.0)),
        "angle": rng.uniform(0.0, 20.0), "torque": rng.normal(0.0, 2.0), "time": rng.uniform(0.0, 1.0),
        "rs": log(0.05, 2.0), "rq": motor.run_ohms, "rd": log(2.0, 40.0), "rr": motor.rotor_ohms,
        "rdr": motor.rotor_ohms * ratio**2, "rf": log(0.01, 2.0), "n": ratio, "rn": 1 / ratio,
        "polepairs": either(1.0, 2.0), "pj": 2 / motor.inertia, "vp": log(50.0, 350.0), "freq": hertz,
        "phase": rng.uniform(-0.25, 0.75), "rsc": log(1e-3, 3.0), "ics": either(0.0, 1 / log(3e-5, 3e-4)),
        "gls": either(0.0, log(1e-7, 1e-4)), "rrc": log(0.5, 5.0), "icr": 1 / log(3e-6, 6e-5),
        "glr": either(0.0, log(1e-7, 1e-4)), "ptc0": either(0.0, log(3.0, 50.0)), "ptck": log(0.1, 10.0),
        "ptcknee": 110.0, "ptcspan": 1 / 60.0, "ptcair": 25.0, "ptcc": log(0.2, 3.0), "ptcg": log(1e-3, 0.1),
        "tp": rng.uniform(10.0, 200.0), "dtp": rng.normal(0.0, 100.0), "tc": rng.uniform(20.0, 150.0),
        "discheat": log(0.01, 0.3), "discg": log(0.01, 1.0), "discc": log(0.05, 1.0), "discair": 40.0,
        "itau": 1 / 0.008, "gas": log(0.01, 3.0), "diff": rng.uniform(0.0, 1.2), "coulomb": log(0.01, 0.5),
        "break": log(0.05, 1.0), "viscous": log(1e-6, 1e-3), "fan": log(1e-9, 1e-6),
        "weps": 100.0 / (2 * math.pi * hertz), "turn": 1 / (4 * math.pi), "peak": log(1.0, 60.0),
        "sigr": either(-1.0, 0.0, 1.0), "ki": either(0.0, 1.0), "kv": either(0.0, 1.0),
        "thrr": log(10.0, 1e5),
        "sigc": either(-1.0, 0.0, 1.0), "thrc": rng.uniform(40.0, 130.0), "thrw": log(200.0, 400.0),
        "wants": either(0.0, 0.0, 1.0), "wantl": either(0.0, 0.0, 1.0), "be": either(0.0, 0.0, 2.0),
        "tb": either(0.0, 1e30, 1e30),
    }  # fmt: skip
    joined = found["gson"] + found["gron"] + found["gb"] + found["gd"] > 0
    inductances, inverse = (_whole(table[row]) for row in (4, 2 * int(line) + joined))
    amps = inverse @ inductances @ [found[name] for name in ("iq", "id", "ir", "im", "if")]
    found |= dict(zip(("iq", "id", "ir", "im", "if"), amps, strict=True))
    found |= dict(zip(("lq", "ld", "lr", "lm", "lf"), inductances @ amps, strict=True))
    found |= {f"g{k}": table[2 * int(line) + joined, k] for k in range(15)}
    return found


def _whole(upper: NDArray[np.float64]) -> NDArray[np.float64]:
    """A symmetric matrix from its upper triangle."""
    found = np.zeros((5, 5))
    found[np.triu_indices(5)] = upper
    return np.triu(found) + np.triu(found, 1).T


def many_digits(drawn: dict[str, float]) -> dict[str, Any]:
    """The same numbers, for reckoning in forty digits."""
    values = {name: mpmath.mpf(float(value)) for name, value in drawn.items()}
    return {**values, "rn": 1 / values["n"]}


def stepped(drawn: Sequence[dict[str, Any]], step: Callable[..., Any], work: Any) -> list[dict[str, Any]]:
    """The new state of each lane, by the kernel or by its text in Python, in a workspace of any numbers."""
    for name, row in ROWS.items():
        for k, values in enumerate(drawn):
            work[row * len(drawn) + k] = values[name]
    step(work, tuple(range(len(drawn))))
    new = {**{name: r.STATES + row for name, row in STATE.items()}, "flag": r.FLAG}
    return [{name: work[row * len(drawn) + k] for name, row in new.items()} for k in range(len(drawn))]


def solve(matrix: list[list[Any]], right: list[Any]) -> list[Any]:
    """A system of linear equations, by mpmath."""
    return list(mpmath.lu_solve(mpmath.matrix(matrix), mpmath.matrix(right)))


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_the_unrolled_step_is_the_equations(seed: int) -> None:
    """The kernel's text and the equations, both in forty digits, agree to 1e-25 for any machine."""
    with mpmath.workdps(40), pytest.MonkeyPatch.context() as patch:
        patch.setattr(kernel, "_cos", lambda turns: mpmath.cos(2 * mpmath.pi * turns))
        patch.setattr(kernel, "_exp", mpmath.exp)
        values = many_digits(lane(seed))
        (found,) = stepped([values], kernel.step_all.py_func, [mpmath.mpf(0)] * r.ROWS)
        right = equations.step(SimpleNamespace(**values), kernel._cos, mpmath.exp, solve)
        for name in (*STATE, "flag"):
            assert mpmath.almosteq(found[name], right[name], 1e-25, 1e-25), name


#: Quantities of one kind: the rounding of each is that of the largest of them.
KINDS = (
    ("lq", "ld", "lr", "lm", "lf"),
    ("vs", "vr", "vn", "e"),
    ("iq", "id", "ir", "im", "if", "il", "is", "peak"),
    *((name,) for name in ("speed", "angle", "tp", "dtp", "tc", "yi", "yv", "time", "torque")),
    *((name,) for name in ("aq", "ad", "al", "as", "aw", "ar", "at")),
)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32))
def test_the_compiled_step_is_its_text(seed: int) -> None:
    """What the compiler makes of it, in doubles and all lanes at once, is its text to a billionth."""
    drawn = [lane(seed + k) for k in range(LANES)]
    compiled = stepped(drawn, kernel.step_all, np.zeros(r.ROWS * LANES))
    with pytest.MonkeyPatch.context() as patch:
        for name in ("_cos", "_exp"):
            patch.setattr(kernel, name, getattr(kernel, name).py_func)
        plain = stepped(drawn, kernel.step_all.py_func, [0.0] * (r.ROWS * LANES))
    for before, one, other in zip(drawn, compiled, plain, strict=True):
        assert one["flag"] == other["flag"]
        for kind in KINDS:
            scale = max(max(abs(before[name]), abs(other[name])) for name in kind)
            for name in kind:
                assert one[name] == pytest.approx(other[name], rel=1e-9, abs=1e-9 * scale), name


def test_every_number_of_a_state_is_compared() -> None:
    """No row of the state is left out."""
    assert {name for kind in KINDS for name in kind} == set(STATE)


@given(turns=st.floats(-1e4, 1e4), power=st.floats(0.0, 11.0))
def test_the_kernels_cosine_and_exponential_are_near_the_true_ones(turns: float, power: float) -> None:
    """The cosine to 1e-9, the exponential to a millionth."""
    cosine, exponential = (getattr(kernel, name).py_func for name in ("_cos", "_exp"))
    assert cosine(turns) == pytest.approx(math.cos(2 * math.pi * (turns - round(turns))), abs=1e-9)
    assert exponential(power) == pytest.approx(math.exp(power), rel=1e-6)
