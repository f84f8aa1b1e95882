"""Makes motor_case.csv with the thermal model of opensourceleg 3.5.0: `python make_motor_case.py`.

The model is `opensourceleg.math.ThermalModel`: winding and case, each with its heat capacity, resistances between them and to the air, and copper
that gains resistance as it warms. Its parameters are the package's own; they were fitted to a real motor on a bench, without a fan. Ours are the
current and the speed alone: laps of 17 s of pulses with small random changes. The supply's current is what a lossless drive takes for them.

opensourceleg asks for NumPy below 2, so this script has an environment of its own (README.md).
"""

import json
from importlib.metadata import version
from pathlib import Path

import numpy as np
from opensourceleg.actuators.base import MOTOR_CONSTANTS
from opensourceleg.math import ThermalModel

assert version("opensourceleg") == "3.5.0"
END_S, LAP_S, STEP_S, RATE_HZ = 480.0, 17.0, 0.005, 5
AIR_C, SUPPLY_V, CONSTANT_V_S, FASTEST_RAD_S = 21.0, 36.0, 0.15, 150.0
# Amperes from so many seconds into the lap on.
PULLS = [(0.0, 21.0), (0.9, 10.0), (2.2, 0.0), (3.7, 15.0), (4.5, 4.0), (5.2, 0.0), (6.2, 19.0), (7.0, 8.0), (8.4, 0.0)]
PULLS += [(9.9, 12.0), (10.7, 0.0), (12.0, 16.0), (12.8, 6.0), (14.2, 2.0), (15.6, 0.0)]


def motor_current(rng):
    """Amperes at every step."""
    times, amperes = [], []
    for lap in range(int(END_S / LAP_S) + 2):
        for at, level in PULLS:
            start, level = lap * LAP_S + at + rng.uniform(0.0, 0.2), level * rng.uniform(0.93, 1.07)
            times += [start, start + 0.1]
            amperes += [amperes[-1] if amperes else 0.0, level]
    return np.interp(np.arange(int(END_S / STEP_S) + 1) * STEP_S, times, amperes)


def speed(amperes):
    """Radians a second that follow the current with a lag of 0.4 s."""
    target = FASTEST_RAD_S * (0.3 + 0.7 * amperes / 22.5)
    omega = np.empty_like(target)
    omega[0] = target[0]
    for n in range(1, len(target)):
        omega[n] = omega[n - 1] + (target[n - 1] - omega[n - 1]) * STEP_S / 0.4
    return omega


def main():
    # The model needs none of these, and its own limits are out of the way.
    constants = MOTOR_CONSTANTS(MOTOR_COUNT_PER_REV=1, NM_PER_AMP=1, MAX_CASE_TEMPERATURE=300, MAX_WINDING_TEMPERATURE=301)
    model = ThermalModel(motor_constants=constants, ambient_temperature=AIR_C)
    amperes = motor_current(np.random.default_rng(7))
    omega = speed(amperes)
    case, ohm = np.empty_like(amperes), np.empty_like(amperes)
    for n, i in enumerate(amperes):
        warm = model.copper_temperature_coefficient * (model.winding_temperature - model.reference_temperature)
        case[n], ohm[n] = model.case_temperature, model.reference_resistance * (1 + warm)
        model.update(STEP_S, 1000.0 * i)
    supply = amperes * (CONSTANT_V_S * omega + ohm * amperes) / SUPPLY_V
    every = int(round(1.0 / RATE_HZ / STEP_S))
    lines = ["time_s,rpm,supply_v,supply_a,motor_a,case_c"]
    for n in range(0, len(amperes), every):
        rpm = omega[n] * 60.0 / (2.0 * np.pi)
        lines.append(f"{n * STEP_S:.1f},{rpm:.1f},{SUPPLY_V:.2f},{supply[n]:.3f},{amperes[n]:.3f},{case[n]:.0f}")
    here = Path(__file__).parent
    (here / "motor_case.csv").write_text("\n".join(lines) + "\n")
    at = lambda seconds: round(float(case[int(round(seconds / STEP_S))]), 4)
    truth = {
        "opensourceleg": version("opensourceleg"),
        "case_c_at_300_s": at(300),
        "case_c_at_480_s": at(480),
        "winding_c_at_480_s": round(float(model.winding_temperature), 4),
        "case_time_constant_s": round(model.case_thermal_capacitance * model.case_to_ambient_resistance, 4),
        "winding_time_constant_s": round(model.winding_thermal_capacitance * model.winding_to_case_resistance, 4),
        "air_c": AIR_C,
    }
    (here / "motor_case.json").write_text(json.dumps(truth, indent=1) + "\n")
    print(json.dumps(truth, indent=1))


if __name__ == "__main__":
    main()
