"""Where lithium plates: the limit of cold charging against PyBaMM's own run at -10, 0 and 10 °C.

- PyBaMM (Sulzer 2021, 10.5334/jors.309), Doyle-Fuller-Newman model, isothermal, the published cell of O'Kane 2022
  (10.1039/D2CP00417H, parameters of Chen 2020): the largest constant charge rate from 20 to 80 % charge at which the
  anode stays above 0 V against lithium at the separator. Onset by that potential is the usual criterion.
- Lines computed in the same way for LFP cells (Prada 2013) with a coarse graphite of 13.7 µm (Ecker 2015,
  10.1149/2.0551509jes), the worst published, and with a graphite of 5 µm.
- The limit itself is 0.20C at -4 °C (common practice, no source), scaled by 31 kJ/mol: found here from `check`, as the
  least rate at which it warns.
"""

import json

import numpy as np
import pybamm
from expect import Expect, run, scratch
from own_format import MISSING, Sender

START = 1_768_435_200.0  # 2026-01-15T00:00:00Z: a date of our own
CAPACITY = 200.0
COARSE = {-10: 0.087, 0: 0.149, 10: 0.243}
FINE = {-10: 0.38, 0: 0.62, 10: 0.94}
# PyBaMM's own cell, as it was when the limit was chosen.
BEFORE = {-10: 0.16, 0: 0.26, 10: 0.39}


def margin(celsius, rate):
    """Least potential of the anode against lithium, V, over a charge from 20 to 80 %."""
    values = pybamm.ParameterValues("OKane2022")
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = celsius + 273.15
    values["Current function [A]"] = -rate * values["Nominal cell capacity [A.h]"]
    values["Upper voltage cut-off [V]"] = 6.0  # the charge is to go on to 80 % whatever the cell's voltage
    simulation = pybamm.Simulation(pybamm.lithium_ion.DFN(), parameter_values=values, solver=pybamm.IDAKLUSolver())
    times = np.linspace(0, 0.6 / rate * 3600, 40)
    solution = simulation.solve(times, initial_soc=0.2)
    if solution.t[-1] < times[-1] - 1:
        raise SystemExit(f"PyBaMM ended early at {celsius} °C and {rate}C")
    return solution["Negative electrode surface potential difference at separator interface [V]"].entries.min()


def onset(celsius):
    """The rate at which the margin is gone, between two runs around the figure from before."""
    low, high = 0.85 * BEFORE[celsius], 1.15 * BEFORE[celsius]
    above, below = margin(celsius, low), margin(celsius, high)
    if not above > 0 > below:
        raise SystemExit(f"PyBaMM's onset at {celsius} °C lies outside of {low} to {high}C: {above}, {below} V")
    return low + (high - low) * above / (above - below)


def warns(celsius, rate):
    """Whether `check` warns of plating after two minutes at a rate."""
    path = scratch("cold.log")
    pack, bank = Sender(0), Sender(16)
    with open(path, "w", encoding="ascii") as log:
        for second in range(4 * 60):
            time = START + second
            if second % 5 == 0:
                log.write(pack.hello(time) + bank.hello(time) + bank.packs(time, 1))
                log.write(pack.ratings(time, 4, CAPACITY, charge=2 * CAPACITY, discharge=2 * CAPACITY))
                log.write(pack.path(time, heater_fitted=0) + pack.sensors(time, [(1, 2)]))
                log.write(pack.beat(time, second) + bank.beat(time, second))
            amps = rate * CAPACITY if 60 <= second < 180 else 0.0
            log.write(pack.cells(time, 0, [3.33] * 4) + pack.temperatures(time, [celsius]))
            log.write(pack.power(time, amps, 13.32, MISSING))
            log.write(pack.state(time, charge_path=1, discharge_path=1, heater_on=0))
    verdict = json.loads(run("check", "--format", "json", path, exits=(0, 1, 3)))
    return any(f["code"] == "cold-charge" and f["severity"] in ("warning", "urgent") for f in verdict["findings"])


def ours(celsius):
    """The least rate that is warned of, by halving, to a thousandth of C."""
    low, high = 0.01, 1.0
    while high - low > 0.001:
        middle = (low + high) / 2
        low, high = (low, middle) if warns(celsius, middle) else (middle, high)
    return high


expect = Expect()
for celsius, before in BEFORE.items():
    theirs, limit = onset(celsius), ours(celsius)
    print(f"  {celsius} °C: our limit {limit:.3f}C; coarse {COARSE[celsius]}, PyBaMM's run {theirs:.3f}, 5 µm {FINE[celsius]}")
    expect.near(f"PyBaMM's own run at {celsius} °C, C", theirs, before, 0.05 * before)
    expect.that(f"the limit lies above the coarse line at {celsius} °C", limit > COARSE[celsius], (limit, COARSE[celsius]))
    expect.that(f"the limit lies below the line of 5 µm at {celsius} °C", limit < FINE[celsius], (limit, FINE[celsius]))
    # The published cell's own run and the limit all but meet: at most 15 % below it, at most 3 % above.
    expect.that(f"the limit is PyBaMM's own run at {celsius} °C", 0.85 * theirs <= limit <= 1.03 * theirs, (limit, theirs))
expect.close()
