"""What a data person among the racers would write: a weekend's logs with pandas, scipy and matplotlib, four figures and a page a run.

Does the same job as `runtrue review` as far as a script of this length can: laps from the list laid onto the log, the realised ratio, wheelspin
from the revs, a fitted heat model with its forecast, the pack's resistance, pull and coasting. It is told the columns, which runtrue works out.

    python by_hand.py WEEKEND OUT
"""

import sys
import tomllib
from pathlib import Path

import matplotlib

matplotlib.use("svg")
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar

SLIP = 0.20
RACE_S = 480.0


def read(path):
    frame = pd.read_csv(path, encoding="utf-8-sig")
    frame.columns = ["time", "rpm", "volts", "amps", "motor", "controller"][: len(frame.columns)]
    frame["time"] -= frame["time"].iloc[0]
    return frame


def first_passing(time, turns, passings):
    """The offset at which every lap of the list has the same turns, on a grid of 20 ms."""
    offsets = np.arange(time[0], max(time[-1] - passings[-1], 20.0), 0.02)
    at = np.interp(offsets[:, None] + passings[None, :], time, turns)
    laps = np.diff(at, axis=1)[:, 1:]
    return offsets[np.argmin(laps.std(axis=1) / laps.mean(axis=1))]


def wheelspin(time, rpm, amps, car):
    """Stretches in which the revs rise faster than the car's mass allows, until wheels and car meet again."""
    rolling = np.pi * car["tyre_diameter_mm"] / 1000 / (car["spur"] / car["pinion"] * car["internal_ratio"])
    speed = rpm / 60 * rolling
    limit = 0.9 * 9.81
    step = np.gradient(speed, time)
    spinning = (step > limit) & (amps > 5) & (speed > 1)
    starts = np.flatnonzero(spinning[1:] & ~spinning[:-1]) + 1
    events, end = [], -1
    for start in starts:
        if start <= end:
            continue
        ahead = speed[start] + limit * (time[start:] - time[start])
        meets = np.flatnonzero(speed[start:] <= ahead)
        end = start + (meets[meets > 0][0] if len(meets[meets > 0]) else 1)
        slip = 1 - ahead[: end - start + 1] / speed[start : end + 1]
        if slip.max() > SLIP and time[end] - time[start] >= 0.1:
            events.append((time[start], time[end]))
    return events, speed


def heat(time, current, omega, temperature, air):
    """A lumped model: dT/dt = a I^2 + b w - (T - air) / tau; linear but for tau, which is searched."""
    second = np.arange(0, time[-1], 1.0)
    copper = np.interp(second, time, np.cumsum(np.gradient(time) * current**2))
    spin = np.interp(second, time, np.cumsum(np.gradient(time) * omega))
    seen = np.interp(second, time, temperature)
    heating = np.diff(np.column_stack([copper, spin]), axis=0)

    def driven(tau):
        decay = np.exp(-1.0 / tau)
        response = np.zeros((len(second), 2))
        for n in range(1, len(second)):
            response[n] = decay * response[n - 1] + heating[n - 1]
        rest = air + (seen[0] - air) * np.exp(-second / tau)
        weights, *_ = np.linalg.lstsq(response, seen - rest, rcond=None)
        return response @ weights + rest, weights

    best = minimize_scalar(lambda tau: np.sum((driven(tau)[0] - seen) ** 2), bounds=(60, 2000), method="bounded")
    model, _ = driven(best.x)
    rate = (model[-1] - model[-30]) / 30
    return second, model, best.x, model[-1] + max(RACE_S - second[-1], 0) * rate


def review(run, car, folder, out, length):
    frame = read(folder / run["log"])
    time, rpm, volts, amps = (frame[c].to_numpy() for c in ["time", "rpm", "volts", "amps"])
    turns = np.concatenate([[0], np.cumsum((rpm[1:] + rpm[:-1]) / 120 * np.diff(time))])
    laps = pd.read_csv(folder / run["laps"]).iloc[:, 1].to_numpy()
    passings = np.concatenate([[0], np.cumsum(laps)])
    line = first_passing(time, turns, passings) + passings
    by_lap = np.diff(np.interp(line, time, turns))
    sound = np.abs(laps / np.median(laps) - 1) < 0.1
    ratio = np.median(by_lap[sound]) * np.pi * car["tyre_diameter_mm"] / 1000 / length
    events, speed = wheelspin(time, rpm, amps, car)
    motor_current = amps * np.clip(volts / np.maximum(rpm / 60 * 2 * np.pi / 620, 0.5), 1, 4)
    second, model, tau, end = heat(time, motor_current, rpm, frame["motor"].to_numpy(), run.get("ambient_c", 24))
    _, cooler, _, controller_end = heat(time, amps, rpm, frame["controller"].to_numpy(), run.get("ambient_c", 24))
    jump = np.abs(np.diff(amps)) > 5
    resistance = -1000 * np.sum(np.diff(volts)[jump] * np.diff(amps)[jump]) / np.sum(np.diff(amps)[jump] ** 2)
    used = np.trapezoid(amps, time) / 3.6
    acceleration = np.gradient(speed, time)
    pull = [np.quantile(acceleration[(speed > v - 1) & (speed < v + 1)], 0.95) for v in (6, 10, 14)]

    name = run["id"]
    figures = {
        "ratio": lambda ax: ax.plot(np.arange(1, len(laps) + 1), by_lap * np.pi * car["tyre_diameter_mm"] / 1000 / length, "o"),
        "heat": lambda ax: (ax.plot(time, frame["motor"]), ax.plot(second, model), ax.plot(second, cooler)),
        "volts": lambda ax: (ax.plot(time, volts), ax.twinx().plot(time, amps, color="tab:orange")),
        "revs": lambda ax: [ax.plot(np.linspace(0, 100, 200), np.interp(np.linspace(a, b, 200), time, rpm)) for a, b in zip(line, line[1:])],
    }
    drawn = []
    for title, draw in figures.items():
        figure, ax = plt.subplots(figsize=(7, 3.2))
        draw(ax)
        ax.set_title(title)
        figure.savefig(out / f"{name}-{title}.svg")
        plt.close(figure)
        drawn.append(f'<img src="{name}-{title}.svg">')
    row = dict(run=name, ratio=ratio, best=laps.min(), median=np.median(laps), spun=sum(b - a for a, b in events), motor_end=end,
               controller_end=controller_end, tau=tau, resistance=resistance, used=used, lowest=volts.min(), pull=pull[1])
    (out / f"{name}.html").write_text(f"<h1>{name}</h1>{pd.Series(row).to_frame().to_html()}{''.join(drawn)}")
    return row


def main(folder, out):
    out.mkdir(parents=True, exist_ok=True)
    sheet = tomllib.loads((folder / "weekend.toml").read_text())
    car = sheet["cars"]["tourer"]
    rows = [review(run, car, folder, out, sheet["track"]["lap_length_m"]) for run in sheet["runs"]]
    table = pd.DataFrame(rows)
    slopes = {c: np.polyfit(np.arange(len(table)), table[c], 1)[0] for c in ["motor_end", "resistance", "median"]}
    (out / "index.html").write_text(f"<h1>weekend</h1>{table.to_html()}{pd.Series(slopes).to_frame().to_html()}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
