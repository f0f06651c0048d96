"""Resistances and connections against data that our simulator did not make.

- Cells in series with different parameters and a connection of known size on one, from PyBaMM (Sulzer 2021,
  10.5334/jors.309; parameters of an LFP cell: Prada 2013): the excess lies within its own bounds, and only that cell is
  told.
- Steps picked independently from a measured run of one LFP cell (Kawakita de Souza 2021,
  doi:10.17632/p8kf893yv3.1, CC BY 4.0), against the resistance that `check` gives for it.
"""

import csv
import gzip
import json
import os
import statistics
import sys
from pathlib import Path

import numpy as np
import pybamm
from expect import Expect, run, scratch
from own_format import MISSING, Sender

START = 1_768_435_200.0  # 2026-01-15T00:00:00Z: a date of our own
CAPACITY = 100.0


def write_log(path, times, amps, cells, celsius):
    """One set for each time: amps of the pack, volts of each of four cells."""
    pack, bank = Sender(0), Sender(16)
    described = -np.inf
    with open(path, "w", encoding="ascii") as log:
        for second, current, volts in zip(times, amps, cells):
            time = START + second
            if second - described >= 5:
                described = second
                log.write(pack.hello(time) + bank.hello(time) + bank.packs(time, 1))
                log.write(pack.ratings(time, 4, CAPACITY, discharge=CAPACITY) + pack.path(time, heater_fitted=0))
                log.write(pack.sensors(time, [(1, 2)]))
                log.write(pack.beat(time, second) + bank.beat(time, second))
            log.write(pack.cells(time, 0, volts))
            log.write(pack.temperatures(time, [celsius]))
            log.write(pack.power(time, current, sum(volts), MISSING))
            log.write(pack.state(time, charge_path=1, discharge_path=1, heater_on=0))


def check(path):
    return json.loads(run("check", "--format", "json", path, exits=(0, 1, 3)))


def rows(verdict, name):
    """(value, low, high) by cell."""
    return {row["cell"]: (row["value"], *(row["bounds"] or (None, None))) for row in verdict["estimates"][name]}


def codes(verdict, code):
    return [(f["cell"], f["severity"]) for f in verdict["findings"] if f["code"] == code]


# --- PyBaMM ---------------------------------------------------------------------------------------------------------

NOMINAL = 2.3  # Ah of the Prada2013 cell; the pack's cell is many of them in parallel


def profile(seconds):
    """Loads and charges in steps, A of the pack, positive charging."""
    levels = [-2.0, -32.0, 8.0, -42.0, -6.0, -24.0, 12.0]
    return np.array([levels[int(t // 270) % len(levels)] for t in range(seconds)])


def one_cell(amps, soc, radius, connection):
    """Voltage each second of a cell with particles `radius` times as large and a connection in mΩ of the pack's cell."""
    model = pybamm.lithium_ion.SPMe({"contact resistance": "true"})
    values = pybamm.ParameterValues("Prada2013")
    for side in ("Positive", "Negative"):
        values[f"{side} particle radius [m]"] *= radius
    times = np.arange(len(amps), dtype=float)
    discharge = -amps * NOMINAL / CAPACITY
    values["Current function [A]"] = pybamm.Interpolant(times, discharge, pybamm.t)
    # The cell's own contacts, then what is to be found.
    values["Contact resistance [Ohm]"] = (0.6 + connection) * 1e-3 * CAPACITY / NOMINAL
    simulation = pybamm.Simulation(model, parameter_values=values, solver=pybamm.CasadiSolver(mode="safe", dt_max=30))
    solution = simulation.solve(times, initial_soc=soc)
    return solution["Terminal voltage [V]"](times)


def series(expect, connection, step):
    amps = profile(3 * 3600)
    parameters = [(0.62, 1.00, 0.0), (0.60, 1.04, 0.0), (0.61, 0.98, connection), (0.63, 1.02, 0.0)]
    cells = np.array([one_cell(amps, *one) for one in parameters]).T
    noise = np.random.default_rng(7)
    cells = np.round((cells + noise.normal(0, 0.4e-3, cells.shape)) / step) * step
    path = scratch("series.log")
    write_log(path, range(len(amps)), amps, cells.tolist(), 25.0)
    verdict = check(path)
    found = rows(verdict, "connection_mohm")
    name = f"PyBaMM, {connection} mΩ, readings of {1000 * step:.0f} mV"
    for cell, (_, _, real) in enumerate(parameters, 1):
        value, low, high = found[cell]
        print(f"  {name}: cell {cell}: {value} [{low}, {high}], added {real}")
        if value is None:
            expect.that(f"{name}: cell {cell} is known", False)
            continue
        expect.that(f"{name}: cell {cell} lies within its bounds", low <= real <= high, (value, low, high))
        expect.that(f"{name}: cell {cell}: bounds are tight", high - low <= 2 * 0.3, (low, high))
    value = found[3][0]
    expect.near(f"{name}: the added connection", value, connection, max(0.1, 0.1 * connection))
    told = codes(verdict, "high-resistance-connection")
    expect.that(f"{name}: told of that cell alone", all(cell == 3 for cell, _ in told), told)
    expect.that(f"{name}: found when plain", bool(told) or connection < 0.7, told)
    wrong = [f["code"] for f in verdict["findings"] if f["code"] in ("balance-lead-fault", "bank-description")]
    expect.same(f"{name}: no lead, no description", wrong, [])


# --- a measured run ------------------------------------------------------------------------------------------------

PARALLEL = 40  # cells of 2.5 Ah in parallel make 100 Ah


def measured(name):
    folder = os.environ.get("CELLWRIGHT_MEASURED")
    if not folder:
        sys.exit("CELLWRIGHT_MEASURED names no folder with the measured runs: this check cannot be left out")
    with gzip.open(Path(folder) / name, "rt", encoding="ascii") as file:
        return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(file)]


def picked(data):
    """Our own way to pick steps: any change of at least 0.05C between two samples, each side steady for three seconds; the
    voltage of the second sample after it against that of the sample before."""
    rate = [row["current_A"] / 2.5 for row in data]
    volts = [row["voltage_V"] for row in data]
    found = []
    for k in range(4, len(data) - 4):
        change = rate[k] - rate[k - 1]
        before, after = rate[k - 3 : k], rate[k : k + 3]
        steady = max(before) - min(before) < 0.1 * abs(change) and max(after) - min(after) < 0.1 * abs(change)
        if abs(change) >= 0.05 and steady:
            calm = volts[k - 1] if abs(rate[k - 1]) < abs(rate[k]) else volts[k + 2]
            if 3.15 <= calm <= 3.38:
                found.append((volts[k + 2] - volts[k - 1]) / (change * 2.5))
    return found


def run_of_a_cell(expect, name, celsius):
    data = measured(name)
    ours = picked(data)
    path = scratch("drive.log")
    volts = [[row["voltage_V"]] * 4 for row in data]
    surface = statistics.median(row.get("surface_degC", celsius) for row in data)
    write_log(path, [row["time_s"] for row in data], [row["current_A"] * PARALLEL for row in data], volts, celsius)
    verdict = check(path)
    theirs = 1000 * statistics.median(ours) / PARALLEL
    value, low, high = rows(verdict, "cell_resistance_mohm")[1]
    print(f"  {name}: {len(ours)} steps picked, {theirs:.3f} mΩ ({theirs * PARALLEL:.2f} of one cell); ours {value} [{low}, {high}], {surface} °C")
    expect.that(f"{name}: enough steps to compare", len(ours) >= 15, len(ours))
    expect.that(f"{name}: resistance from steps picked otherwise lies within the bounds", value is not None and low <= theirs <= high, (value, low, high, theirs))
    for cell, (value, low, high) in rows(verdict, "connection_mohm").items():
        expect.that(f"{name}: four equal cells have equal connections", value is not None and abs(value) < 0.001, (cell, value))
    told = [f["code"] for f in verdict["findings"] if f["code"] in ("high-resistance-connection", "balance-lead-fault")]
    expect.same(f"{name}: nothing is told of connections or leads", told, [])


def by_temperature(expect):
    """The ratio of a second cell (Kawakita) is not the table that the engine uses (Plett): within 20 % from −5 to 45 °C."""
    warm = [1000 * statistics.median(picked(measured(name))) for name in ("drive-25C.csv.gz", "drive-minus5C.csv.gz")]
    expect.near("measured ratio of resistance, −5 °C to 25 °C, against the table", warm[1] / warm[0], 2.99, 0.2 * 2.99)


expect = Expect()
for connection, step in ((0.0, 0.001), (0.3, 0.001), (0.5, 0.001), (1.0, 0.001), (0.5, 0.01)):
    series(expect, connection, step)
run_of_a_cell(expect, "drive-25C.csv.gz", 25.0)
by_temperature(expect)
expect.close()
