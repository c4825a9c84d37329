"""
Where each number of a lane stands: rows of the kernel's workspace, columns of a packed case, of a result.

The workspace is one flat array, row by row, `lanes` numbers a row; compiled code knows the offsets.
"""

from __future__ import annotations

__all__ = ["CASE", "COLUMNS", "EVENTS", "FEATURES", "OUTCOMES", "RECORD", "ROWS", "STATES"]

# -- state, and after it the state one step on ---------------------------------------------------------------
(
    LQ, LD, LR, LM, LF,  # flux linkages: run, start, rotor q, rotor d, shorted turns [Wb]
    VS, VR,  # start and run capacitor [V]
    SPEED, ANGLE,  # electrical speed [rad/s], crank angle [turns]
    TP, DTP, TC,  # pill and its rate, disc [°C], [K/s]
    YI, YV,  # filtered squares: run current, start-winding voltage [A²], [V²]
    TIME, E, VN,  # [s], source and drop in the start circuit [V]
    IQ, ID, IR, IM, IF, IL, IS,  # currents; IL line, IS through the start gear [A]
    TORQUE,  # [N m]
    AQ, AD, AL, AS, AW, AR, AT,  # integrals: squares of currents, speed, rotor loss, torque
    PEAK,  # largest line current so far [A]
) = range(33)  # fmt: skip
STATES = 33

# -- steering, parameters in use ---------------------------------------------------------------------------
(
    H, H0, IMPL, BE, FREE, LINE, GSON, WANTS, WANTL, LAND, OK, FLAG, TB, DEAD,
    SIGR, THRR, KI, KV, KW, SIGC, THRC, THRW,
    G0, G1, G2, G3, G4, G5, G6, G7, G8, G9, G10, G11, G12, G13, G14,
    RS, RQ, RD, RR, RDR, RF, N, RN, POLEPAIRS, PJ,
    VP, FREQ, PHASE, RSC, ICS, GLS, RRC, ICR, GLR, GRON, GB, GD,
    PTC0, PTCK, PTCKNEE, PTCSPAN, PTCAIR, PTCC, PTCG,
    DISCHEAT, DISCG, DISCC, DISCAIR, ITAU,
    GAS, C1, C2, C3, C4, S1, S2, S3, S4, COULOMB, BREAK, VISCOUS, FAN, WEPS, TURN,
    TQ, TD, TSHELL, DIFF,
    THALF, TPEND, STAGE, PLUNGER, TEND, TACC, COUNT, TOFF, KIND, BOUNCE, TRAVEL, CASE, NREC, NEV, STEPS,
    M_LINE, M_RUN, M_START, M_SPEED, M_TORQUE, M_GEAR,
    WINDOW, WCOUNT, B_LINE, B_RUN, B_START, B_SPEED, B_ROTOR, B_PTC, W_LINE, W_RUN, W_SPEED,
    F_T75, F_RELEASE, F_TRIP, F_RECLOSE, F_LOCKED, F_START, F_TRIPS, F_RUN, F_QMAX, F_DMAX, F_PMAX, F_CMAX,
    F_WMAX, F_LINE, F_GEAR, F_SPEED, F_BREAKER, F_LIVE, F_HIGH,
) = range(2 * STATES, 2 * STATES + 141)  # fmt: skip
ROWS = 2 * STATES + 141

# -- columns of a packed case --------------------------------------------------------------------------------
(
    P_RUN_OHMS,
    P_START_OHMS,
    P_ROTOR_OHMS,
    P_ROTOR_OHMS_D,
    P_RATIO,
    P_POLEPAIRS,
    P_INERTIA,
    P_CELSIUS,
    P_LQQ,
    P_LDD,
    P_LRR,
    P_LMM,
    P_LQR,
    P_LDM,
    P_LFF,
    P_LQF,
    P_LDF,
    P_LRF,
    P_LMF,
    P_SHORT_OHMS,
    P_SHORTED,
    P_VOLTS,
    P_HERTZ,
    P_ANGLE,
    P_OHMS,
    P_HENRIES,
    P_BREAKER,
    P_RUN_SERIES,
    P_START_SERIES,
    P_RUN_OPEN,
    P_START_OPEN,
    P_LINE_OPEN,
    P_BRIDGE,
    P_SHUNT,
    P_KIND,
    P_CONTACT,
    P_UP,
    P_DOWN,
    P_TRAVEL,
    P_BOUNCE,
    P_ON,
    P_REARM,
    P_STUCK,
    P_PTC_OHMS,
    P_PTC_KNEE,
    P_PTC_SPAN,
    P_PTC_LN,
    P_PTC_C,
    P_PTC_G,
    P_ICS,
    P_CS_OHMS,
    P_CS_LEAK,
    P_HAS_CR,
    P_ICR,
    P_CR_OHMS,
    P_CR_LEAK,
    P_GUARD,
    P_HEATER,
    P_DISC_C,
    P_DISC_G,
    P_TRIP,
    P_RESET,
    P_SHARE_WINDING,
    P_SHARE_SHELL,
    P_GAS,
    P_COS,
    P_COS2,
    P_COS3,
    P_COS4,
    P_SIN,
    P_SIN2,
    P_SIN3,
    P_SIN4,
    P_DIFF,
    P_APART,
    P_EQUALISE,
    P_COULOMB,
    P_BREAK,
    P_VISCOUS,
    P_FAN,
    P_CRANK,
    P_SEIZED,
    P_SPEED,
    P_SWAPPED,
    P_HQ,
    P_HD,
    P_HSHELL,
    P_GQ,
    P_GD,
    P_GSHELL,
    P_TQ,
    P_TD,
    P_TSHELL,
    P_AIR,
    P_TP,
    P_TC,
    P_OPEN,
    P_AUDIBLE,
) = range(98)
COLUMNS = 98

#: Kinds of start gear, as packed.
NONE, PLAIN, PTC, CURRENT, POTENTIAL, TIMED, SPEEDSWITCH = range(7)

#: What an event is, as logged: name of each code.
EVENTS = (
    "start contact opens",
    "start contact closes",
    "protector opens",
    "protector closes",
    "rotor breaks away",
    "rotor stops",
    "three quarters of synchronous speed",
    "breaker opens",
    "start current has halved",
)
(E_OPENS, E_CLOSES, E_TRIPS, E_RECLOSES, E_MOVES, E_STOPS, E_75, E_BREAKER, E_HALVED) = range(9)

#: What an attempt can come to, in the order of its number.
OUTCOMES = ("silent", "hum", "hum_click", "starts_then_trips", "breaker", "runs")

#: Columns of a half-cycle record.
RECORD = (
    "time", "line", "run", "start", "speed", "torque", "gear",
    "ptc", "protector", "run_winding", "start_winding", "shell", "difference",
)  # fmt: skip

#: Columns of a result, one row a case. Times [s], NaN where it did not happen; currents rms [A].
FEATURES = (
    "outcome", "unreleased", "peak", "locked", "running", "speed_time", "release_time", "trip_time",
    "reclose_time", "trips", "run_winding_max", "start_winding_max", "protector_max", "ptc_max",
    "last_speed", "last_line", "last_gear", "first_gear", "top_speed", "steps",
)  # fmt: skip
