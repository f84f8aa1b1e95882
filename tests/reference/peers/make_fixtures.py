"""Makes the fixtures in this folder with open source models written by others.

Usage: python make_fixtures.py [--out FOLDER] [NAME ...]

NAME is one of thevenin, spme, dc_motor, tyre_slip, lumped_heat, mann_kendall;
without a name all are made. All seeds are fixed: two runs on one machine write
the same bytes. README.md beside this file tells versions, parameters and truths.
"""

import argparse
import json
import os
from importlib.metadata import version
from pathlib import Path

os.environ["PYBAMM_DISABLE_TELEMETRY"] = "true"

import numpy as np
from scipy import stats
from scipy.integrate import solve_ivp

PACKAGES = ["numpy", "scipy", "pybamm", "pybammsolvers", "gym-electric-motor", "commonroad-vehicle-models", "pymannkendall"]


# --- writing -----------------------------------------------------------------


def write_csv(path, columns):
    """Writes `columns`, a dict of header -> (values, decimals); the first column must increase strictly."""
    text = [[f"{v:.{decimals}f}" for v in values] for values, decimals in columns.values()]
    assert all(float(a) < float(b) for a, b in zip(text[0], text[0][1:])), f"{path}: time stamps must increase"
    zero = {f"-{0:.{d}f}": f"{0:.{d}f}" for d in range(8)}
    rows = [",".join(zero.get(cell, cell) for cell in row) for row in zip(*text)]
    path.write_text("\n".join([",".join(columns), *rows]) + "\n")


def rounded(value, digits=6):
    """Rounds every float in a nest of dicts and lists to so many significant digits."""
    if isinstance(value, dict):
        return {k: rounded(v, digits) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(v, digits) for v in value]
    if isinstance(value, (float, np.floating)):
        return float(f"{value:.{digits}g}")
    return value.item() if isinstance(value, np.generic) else value


def write_json(path, value):
    path.write_text(json.dumps(value, indent=1) + "\n")


def sample_times(end_s, rate_hz):
    return np.arange(int(end_s * rate_hz) + 1) / rate_hz


# --- cells: PyBaMM -----------------------------------------------------------

CELL_END_S = 150.0
CELL_CAPACITY_AH = 5.0


def race_pulses(rng, end_s):
    """Knots (time, level) of a pulse train: levels 0..1 held for 0.3..1.5 s, now and then -0.3, ramps of 20..50 ms."""
    times, levels, now = [0.0], [0.0], 1.0
    while now < end_s - 0.1:
        regeneration = rng.random() < 0.12 and levels[-1] >= 0.0
        level = -0.3 if regeneration else rng.uniform(0.0, 1.0)
        times += [now, now + rng.uniform(0.020, 0.050)]
        levels += [levels[-1], level]
        now += rng.uniform(0.3, 0.6 if regeneration else 1.5)
    return np.array(times + [end_s]), np.array(levels + levels[-1:])


def solve_cell(model, parameters, times, currents, initial_soc=None):
    """Runs one PyBaMM model under a current given by knots; returns functions of time for current and voltage."""
    import pybamm

    parameters = parameters.copy()
    parameters["Current function [A]"] = pybamm.Interpolant(times, currents, pybamm.t)
    solver = pybamm.IDAKLUSolver(rtol=1e-8, atol=1e-8)
    solution = pybamm.Simulation(model, parameter_values=parameters, solver=solver).solve(times, initial_soc=initial_soc)
    assert solution.t[-1] >= times[-1] - 1e-9, f"stopped early: {solution.termination}"
    return solution["Current [A]"], solution["Voltage [V]"]


def write_cell(path, current, voltage):
    t = sample_times(CELL_END_S, 20)
    write_csv(path, {"time_s": (t, 2), "current_a": (current(t), 4), "voltage_v": (voltage(t), 5)})


def make_thevenin(out):
    """An equivalent circuit: constant series resistance and one slow resistor-capacitor pair."""
    import pybamm

    r0, r1, tau = 0.010, 0.005, 20.0
    model = pybamm.equivalent_circuit.Thevenin()
    parameters = model.default_parameter_values
    parameters.update({
        "Cell capacity [A.h]": CELL_CAPACITY_AH,
        "Nominal cell capacity [A.h]": CELL_CAPACITY_AH,
        "Initial SoC": 0.8,
        "R0 [Ohm]": r0,
        "R1 [Ohm]": r1,
        "C1 [F]": tau / r1,
        "Entropic change [V/K]": 0.0,
        "Lower voltage cut-off [V]": 2.5,
    })
    times, levels = race_pulses(np.random.default_rng(1), CELL_END_S)
    write_cell(out / "thevenin.csv", *solve_cell(model, parameters, times, 5.0 * CELL_CAPACITY_AH * levels))
    return {"r0_ohm": r0, "r0_plus_r1_ohm": r0 + r1, "tau_s": tau}


SPME_SOC = 0.8
SPME_PEAK_C = 4.0


def spme_step(soc, from_a, to_a):
    """Voltage drop per ampere 50 ms and 1 s after a current step (1 ms ramp) of a cell at rest at `soc`.

    A step that starts from a load is taken 0.1 s after that load began.
    """
    import pybamm

    times = np.array([0.0, 0.001, 0.1, 0.101, 0.15, 1.1])
    currents = np.array([0.0, from_a, from_a, to_a, to_a, to_a])
    parameters = pybamm.ParameterValues("Chen2020")
    _, voltage = solve_cell(pybamm.lithium_ion.SPMe(), parameters, times, currents, soc)
    before, short, long = (float(voltage(t)) for t in (0.1, 0.15, 1.1))
    return {"from_a": from_a, "to_a": to_a, "r_50ms_ohm": (before - short) / (to_a - from_a), "r_1s_ohm": (before - long) / (to_a - from_a)}


def steps_around(times, currents, middle, count):
    """The (from, to) currents of the run's own steps nearest to a time."""
    ramps = range(1, len(times) - 1, 2)
    nearest = sorted(sorted(ramps, key=lambda k: abs(times[k] - middle))[:count])
    return [(float(currents[k]), float(currents[k + 1])) for k in nearest]


def mean_resistance(steps):
    """Least-squares line through zero of voltage drop over current change."""
    weights = [(s["to_a"] - s["from_a"]) ** 2 for s in steps]
    mean = {key: float(np.average([s[key] for s in steps], weights=weights)) for key in ("r_50ms_ohm", "r_1s_ohm")}
    return {"count": len(steps), **mean}


def make_spme(out):
    """A single particle model with electrolyte; its step resistance comes from separate step runs."""
    import pybamm

    parameters = pybamm.ParameterValues("Chen2020")
    capacity = parameters["Nominal cell capacity [A.h]"]
    times, levels = race_pulses(np.random.default_rng(2), CELL_END_S)
    currents = SPME_PEAK_C * capacity * levels
    current, voltage = solve_cell(pybamm.lithium_ion.SPMe(), parameters, times, currents, SPME_SOC)
    write_cell(out / "spme.csv", current, voltage)
    half = times <= CELL_END_S / 2
    soc = SPME_SOC - np.trapezoid(currents[half], times[half]) / 3600.0 / capacity
    step = spme_step(soc, 0.0, 2.0 * capacity)
    others = [spme_step(soc, a * capacity, b * capacity) for a, b in ((0.0, 0.5), (0.0, 4.0), (1.0, 2.0), (2.0, 3.0))]
    pairs = steps_around(times, currents, CELL_END_S / 2, 20)
    return {
        "soc_mid_run": soc,
        "r_50ms_ohm": step["r_50ms_ohm"],
        "r_1s_ohm": step["r_1s_ohm"],
        "step_from_a": step["from_a"],
        "step_to_a": step["to_a"],
        "run_steps": mean_resistance([spme_step(soc, a, b) for a, b in pairs]),
        "other_steps": others,
    }


# --- direct-current motor: gym-electric-motor --------------------------------

MOTOR = {"psi_e": 0.0017, "r_a": 0.020, "l_a": 20e-6, "j_rotor": 1.0e-5}
LOAD = {"a": 0.003, "b": 1.0e-6, "c": 5.0e-10, "j_load": 4.0e-5}
SUPPLY_V, SUPPLY_OHM, LIMIT_A = 7.6, 0.010, 90.0
MOTOR_END_S, MOTOR_STEP_S = 90.0, 0.0005


def motor_and_load():
    """The package's permanently excited motor and its polynomial load, joined on one shaft."""
    from gym_electric_motor.physical_systems.electric_motors import DcPermanentlyExcitedMotor
    from gym_electric_motor.physical_systems.mechanical_loads import PolynomialStaticLoad

    motor, load = DcPermanentlyExcitedMotor(motor_parameter=dict(MOTOR)), PolynomialStaticLoad(load_parameter=dict(LOAD))
    load.set_j_rotor(MOTOR["j_rotor"])
    return motor, load


def motor_demands(rng, end_s):
    """Phases (end time, kind, level): part and full drive (duty asked for), coast, brake (amperes)."""
    phases, now = [], 0.0
    while now < end_s:
        for kind, level, lasts in (
            ("drive", rng.uniform(0.35, 0.8), rng.uniform(0.5, 1.5)),
            ("drive", 1.0, rng.uniform(0.8, 2.2)),
            ("coast", 0.0, rng.uniform(0.4, 1.2)),
            ("brake", rng.uniform(12.0, 40.0), rng.uniform(1.2, 2.6)),
        ):
            now += lasts
            phases.append((now, kind, level))
    return phases


def wanted_current(kind, level, omega):
    """Motor current that the controller aims at, within 0..LIMIT_A when driving."""
    if kind == "coast":
        return 0.0
    if kind == "brake":
        return -level
    ohm = MOTOR["r_a"] + level**2 * SUPPLY_OHM
    return min(max((level * SUPPLY_V - MOTOR["psi_e"] * omega) / ohm, 0.0), LIMIT_A)


def duty_and_supply(kind, level, omega, amperes):
    """Duty cycle 0..1 that leads to the wanted current, and supply voltage behind its resistance."""
    motor_v = MOTOR["psi_e"] * omega + MOTOR["r_a"] * wanted_current(kind, level, omega)
    if motor_v <= 0.0:
        return 0.0, SUPPLY_V
    # duty = motor_v / supply_v with supply_v = SUPPLY_V - SUPPLY_OHM * duty * amperes
    supply_v = (SUPPLY_V + np.sqrt(max(SUPPLY_V**2 - 4.0 * SUPPLY_OHM * motor_v * amperes, 0.0))) / 2.0
    if motor_v >= supply_v:
        return 1.0, SUPPLY_V - SUPPLY_OHM * amperes
    return motor_v / supply_v, supply_v


def runge_kutta(slope, state, step):
    """One classical fourth-order step."""
    k1 = slope(state)
    k2 = slope(state + 0.5 * step * k1)
    k3 = slope(state + 0.5 * step * k2)
    k4 = slope(state + step * k3)
    return state + step / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)


def run_motor(phases, end_s):
    """Rows (time, omega, supply volts, supply amperes, motor amperes, duty) at every step."""
    motor, load = motor_and_load()
    rows, state, phase = [], np.zeros(2), 0
    for n in range(int(round(end_s / MOTOR_STEP_S)) + 1):
        t = n * MOTOR_STEP_S
        while t >= phases[phase][0]:
            phase += 1
        _, kind, level = phases[phase]

        def slope(x):
            duty, supply_v = duty_and_supply(kind, level, x[0], x[1])
            turning = load.mechanical_ode(t, x[:1], motor.torque(x[1:]))
            return np.array([turning[0], motor.electrical_ode(x[1:], [duty * supply_v], x[0])[0]])

        duty, supply_v = duty_and_supply(kind, level, state[0], state[1])
        rows.append((t, state[0], supply_v, duty * state[1], state[1], duty))
        state = runge_kutta(slope, state, MOTOR_STEP_S)
    return np.array(rows)


def spin_up_time():
    """Seconds from rest to 90 % of the no-load speed (supply volts / motor constant) at full demand."""
    rows = run_motor([(1e9, "drive", 1.0)], 6.0)
    return float(rows[np.argmax(rows[:, 1] >= 0.9 * SUPPLY_V / MOTOR["psi_e"]), 0])


def make_dc_motor(out):
    rows = run_motor(motor_demands(np.random.default_rng(3), MOTOR_END_S), MOTOR_END_S)
    t, omega, supply_v, supply_a, motor_a, duty = rows[:: int(round(0.05 / MOTOR_STEP_S))].T
    write_csv(out / "dc_motor.csv", {
        "time_s": (t, 2),
        "omega_rad_s": (omega, 2),
        "supply_v": (supply_v, 5),
        "supply_a": (supply_a, 4),
        "motor_a": (motor_a, 4),
        "duty": (duty, 6),
    })
    return {
        "motor_constant_v_s": MOTOR["psi_e"],
        "resistance_ohm": MOTOR["r_a"],
        "supply_open_v": SUPPLY_V,
        "supply_resistance_ohm": SUPPLY_OHM,
        "inertia_kg_m2": MOTOR["j_rotor"] + LOAD["j_load"],
        "spin_up_to_90_percent_s": spin_up_time(),
    }


# --- tyre slip: commonroad-vehicle-models ------------------------------------

CAR_END_S, CAR_STEP_S, CAR_50HZ_END_S = 120.0, 0.0005, 72.0
SPIN_CYCLES, LOCK_CYCLES = {1, 3, 6, 9}, {4, 8}
LOCK_BRAKE, LOCKED_S, REGRIP_S = -14.0, 0.3, 0.5


class Driver:
    """Straight-line driver: 5 -> 22 -> 5 m/s cycles, some with spinning, some with locked driven wheels."""

    def __init__(self, rng):
        self.rng, self.cycle = rng, -1
        self.new_cycle()

    def new_cycle(self):
        self.cycle += 1
        self.phase, self.event, self.until = "accelerate", None, 0.0
        self.pull, self.brake = self.rng.uniform(2.3, 3.2), -self.rng.uniform(3.0, 4.2)
        self.spin_at, self.spin_slip = self.rng.uniform(6.5, 15.0), self.rng.uniform(0.42, 0.72)
        self.spin_s, self.lock_at = self.rng.uniform(0.3, 0.9), self.rng.uniform(12.0, 18.0)
        self.spins, self.locks = self.cycle in SPIN_CYCLES, self.cycle in LOCK_CYCLES

    def demand(self, t, car, wheel):
        """Longitudinal acceleration input of the model in m/s2."""
        self.move_on(t, car, wheel)
        if self.event == "spin":
            return min(18.0, max(0.0, 60.0 * (1.0 - wheel * (1.0 - self.spin_slip) / car)))
        if self.event in ("lock", "locked"):
            return LOCK_BRAKE
        if self.event == "release":
            return 0.0
        return self.pull if self.phase == "accelerate" else self.brake

    def move_on(self, t, car, wheel):
        """Steps through phases and events."""
        if self.event is None:
            if self.phase == "accelerate" and self.spins and car >= self.spin_at:
                self.event, self.until, self.spins = "spin", t + self.spin_s, False
            elif self.phase == "brake" and self.locks and car <= self.lock_at:
                self.event, self.locks = "lock", False
            elif self.phase == "accelerate" and car >= 22.0:
                self.phase = "brake"
            elif self.phase == "brake" and car <= 5.0:
                self.new_cycle()
        elif self.event == "lock" and wheel <= 0.0:
            self.event, self.until = "locked", t + LOCKED_S
        elif self.event in ("spin", "locked") and t >= self.until:
            self.event, self.until = "release", t + REGRIP_S
        elif self.event == "release" and t >= self.until:
            self.event = None


def car_parameters():
    """The package's parameter set 2, with the drive's limits raised so that grip can be exceeded."""
    from vehiclemodels.parameters_vehicle2 import parameters_vehicle2

    p = parameters_vehicle2()
    p.longitudinal.a_max, p.longitudinal.v_switch = 25.0, 50.0
    return p


def run_car(end_s):
    """Rows (time, rear wheel speed, car speed, demand) at every step of the single-track drift model."""
    from vehiclemodels.init_std import init_std
    from vehiclemodels.vehicle_dynamics_std import vehicle_dynamics_std

    p, driver, rows = car_parameters(), Driver(np.random.default_rng(4)), []
    state = np.array(init_std([0.0, 0.0, 0.0, 5.0, 0.0, 0.0, 0.0], p))
    for n in range(int(round(end_s / CAR_STEP_S)) + 1):
        t, wheel = n * CAR_STEP_S, state[8] * p.R_w
        demand = driver.demand(t, state[3], wheel)
        rows.append((t, wheel, state[3], demand))
        state = runge_kutta(lambda x: np.array(vehicle_dynamics_std(x.tolist(), [0.0, demand], p)), state, CAR_STEP_S)
        state[7:9] = np.maximum(state[7:9], 0.0)  # wheels do not turn backwards, as in the model
    return np.array(rows)


def runs_of(mask):
    """Pairs (first, last) of the runs of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(int), [0]))))
    return [(a, b - 1) for a, b in zip(edges[::2], edges[1::2])]


def slip_events(t, wheel, car):
    """Driving slip above 0.20 for at least 0.1 s while the car moves at 1 m/s or more."""
    slip = (wheel - car) / np.maximum(wheel, 1e-9)
    runs = [(a, b) for a, b in runs_of((slip > 0.20) & (car >= 1.0)) if t[b] - t[a] >= 0.1]
    return [{"start_s": t[a], "end_s": t[b], "peak_slip": slip[a : b + 1].max(), "mean_slip": slip[a : b + 1].mean()} for a, b in runs]


def lock_events(t, wheel, car):
    """Driven wheels slower than 5 % of the car's speed for at least 0.1 s while it moves at 1 m/s or more."""
    runs = [(a, b) for a, b in runs_of((wheel < 0.05 * car) & (car >= 1.0)) if t[b] - t[a] >= 0.1]
    return [{"start_s": t[a], "end_s": t[b]} for a, b in runs]


def write_car(path, rows, rate_hz, end_s):
    rows = rows[:: int(round(1.0 / rate_hz / CAR_STEP_S))]
    t, wheel, car, demand = rows[rows[:, 0] <= end_s + 1e-9].T
    write_csv(path, {"time_s": (t, 2), "wheel_speed_m_s": (wheel, 3), "car_speed_m_s": (car, 3), "drive": (demand, 2)})


def make_tyre_slip(out):
    rows = run_car(CAR_END_S)
    write_car(out / "tyre_slip.csv", rows, 20, CAR_END_S)
    write_car(out / "tyre_slip_50hz.csv", rows, 50, CAR_50HZ_END_S)
    t, wheel, car, _ = rows[::2].T
    return {"spins": slip_events(t, wheel, car), "locks": lock_events(t, wheel, car), "end_of_50hz_file_s": CAR_50HZ_END_S}


# --- heat: two nodes, solved by SciPy -----------------------------------------

HEAT_END_S, LAP_S, AIR_C, START_C = 480.0, 17.0, 24.0, 33.0
WINDING_J_K, CAN_J_K, WINDING_CAN_W_K, SENSOR_S = 30.0, 95.0, 1.4, 4.0
R20_OHM, COPPER_PER_K, SPEED_LOSS_J, METRES_PER_RAD = 0.011, 0.00393, 1.2e-3, 0.0046
CAN_AIR_W_K, CAN_AIR_PER_SPEED = 0.20, 0.010


def lap_knots(rng, end_s):
    """Knots (time, amperes, omega): the same lap of pulls and bends again and again, with small random changes."""
    pulls = [(0.0, 95.0), (0.9, 45.0), (2.2, 0.0), (3.7, 70.0), (4.5, 20.0), (5.2, 0.0), (6.2, 88.0), (7.0, 35.0), (8.4, 0.0)]
    pulls += [(9.9, 55.0), (10.7, 0.0), (12.0, 75.0), (12.8, 30.0), (14.2, 10.0), (15.6, 0.0)]
    times, amperes = [], []
    for lap in range(int(end_s / LAP_S) + 2):
        for at, level in pulls:
            start = lap * LAP_S + at + rng.uniform(0.0, 0.2)
            level = min(95.0, level * rng.uniform(0.9, 1.08))
            times += [start, start + 0.1]
            amperes += [amperes[-1] if amperes else 0.0, level]
    return np.array(times), np.array(amperes)


def omega_following(times, amperes):
    """Speed between 900 and 3600 rad/s that follows the current with a lag of 0.4 s, on a 20 ms grid."""
    grid = np.arange(0.0, HEAT_END_S + 0.02, 0.02)
    target = 900.0 + 2700.0 * np.interp(grid, times, amperes) / 95.0
    omega = np.empty_like(grid)
    omega[0] = 900.0
    for n in range(1, len(grid)):
        omega[n] = omega[n - 1] + (target[n - 1] - omega[n - 1]) * 0.02 / 0.4
    return grid, omega


def heat_slope(t, state, current, speed):
    """Rates of winding, can and sensor temperature."""
    winding, can, sensor = state
    i, omega = current(t), speed(t)
    copper = R20_OHM * (1.0 + COPPER_PER_K * (winding - 20.0)) * i**2
    loss, across = SPEED_LOSS_J * omega, WINDING_CAN_W_K * (winding - can)
    air = (CAN_AIR_W_K + CAN_AIR_PER_SPEED * omega * METRES_PER_RAD) * (can - AIR_C)
    return [(copper + 0.4 * loss - across) / WINDING_J_K, (0.6 * loss + across - air) / CAN_J_K, (can - sensor) / SENSOR_S]


def make_lumped_heat(out):
    times, amperes = lap_knots(np.random.default_rng(5), HEAT_END_S)
    grid, omegas = omega_following(times, amperes)
    current, speed = (lambda t: np.interp(t, times, amperes)), (lambda t: np.interp(t, grid, omegas))
    t = sample_times(HEAT_END_S, 5)
    solved = solve_ivp(heat_slope, (0.0, HEAT_END_S), [START_C] * 3, t_eval=t, args=(current, speed), max_step=0.1, rtol=1e-8, atol=1e-8)
    winding, _, sensor = solved.y
    write_csv(out / "lumped_heat.csv", {
        "time_s": (t, 1),
        "motor_a": (current(t), 3),
        "omega_rad_s": (speed(t), 1),
        "speed_m_s": (speed(t) * METRES_PER_RAD, 3),
        "motor_c": (sensor, 0),
    })
    fine = np.arange(0.0, HEAT_END_S, 0.001)
    return {
        "sensor_c_at_300_s": sensor[t == 300.0][0],
        "sensor_c_at_480_s": sensor[t == 480.0][0],
        "winding_c_at_480_s": winding[t == 480.0][0],
        "mean_square_current_a2": np.mean(current(fine) ** 2),
    }


# --- trends: SciPy and pymannkendall -------------------------------------------


def trend_series():
    """Small series of lap-time-like values, by name; those with `ties` in the name hold equal values."""
    rng = np.random.default_rng(6)
    series = {"rising_5": [1.0, 2.0, 3.0, 4.0, 5.5], "falling_5": [9.1, 8.7, 8.8, 8.2, 7.9], "one_outlier_7": [3.1, 3.2, 3.3, 9.9, 3.4, 3.5, 3.6]}
    for n, slope, noise in ((6, 0.0, 1.0), (8, 0.05, 0.10), (9, -0.03, 0.10), (10, 0.02, 0.20), (12, 0.04, 0.10), (12, 0.0, 0.3)):
        series[f"random_{n}_slope_{slope:g}"] = [float(v) for v in np.round(17.0 + slope * np.arange(n) + noise * rng.standard_normal(n), 3)]
    series["ties_6"] = [4.0, 4.0, 5.0, 5.0, 6.0, 6.0]
    series["ties_8"] = [2.0, 1.0, 2.0, 3.0, 2.0, 3.0, 4.0, 3.0]
    series["ties_11"] = [float(v) for v in np.round(20.0 - 0.2 * np.arange(11) + rng.standard_normal(11))]
    series["ties_all_equal_5"] = [7.0] * 5
    return series


def trend_of(values):
    """Theil-Sen slope with its interval, S statistic and, without ties, Kendall's exact p."""
    import pymannkendall

    x = np.arange(len(values))
    theil, test = stats.theilslopes(values, x, alpha=0.95), pymannkendall.original_test(values)
    distinct = len(set(values)) == len(values)
    exact = float(stats.kendalltau(x, values, method="exact").pvalue) if distinct else None
    return {
        "values": values,
        "ties": not distinct,
        "theil_slope": theil.slope,
        "theil_low_95": theil.low_slope,
        "theil_high_95": theil.high_slope,
        "s": int(test.s),
        "var_s": float(test.var_s),
        "kendall_exact_p": exact,
        "mann_kendall_normal_p": float(test.p),
        "pymannkendall_slope": float(test.slope),
    }


def make_mann_kendall(out):
    results = {name: rounded(trend_of(values), 10) for name, values in trend_series().items()}
    assert all(abs(r["theil_slope"] - r["pymannkendall_slope"]) < 1e-9 for r in results.values()), "both packages agree on the slope"
    write_json(out / "mann_kendall.json", results)
    return {"series": len(results)}


# --- all -----------------------------------------------------------------------

MAKERS = {
    "thevenin": make_thevenin,
    "spme": make_spme,
    "dc_motor": make_dc_motor,
    "tyre_slip": make_tyre_slip,
    "lumped_heat": make_lumped_heat,
    "mann_kendall": make_mann_kendall,
}


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent)
    parser.add_argument("names", nargs="*", metavar="NAME")
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    path = asked.out / "truth.json"
    truth = json.loads(path.read_text()) if path.exists() else {}
    truth["versions"] = {name: version(name) for name in PACKAGES}
    print(" ".join(f"{name}=={number}" for name, number in truth["versions"].items()))
    for name in asked.names or MAKERS:
        truth[name] = rounded(MAKERS[name](asked.out))
        print(name, json.dumps(truth[name]), flush=True)
    write_json(path, truth)


if __name__ == "__main__":
    main()
