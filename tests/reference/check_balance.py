"""Balance, capacity and state of charge against cells in series that our simulator did not make.

PyBaMM's cells (cells.py names their sources) of different charge and capacity under one current: a charge with a taper
into the upper knee, a discharge into the lower one. The truth is what was put in: the charge of each cell at the start,
its capacity, and the charge that the current moved.
"""

import json

import numpy as np
from cells import CAPACITY, Cell, Profile
from expect import Expect, run, scratch
from own_format import MISSING, Sender

START = 1_768_435_200.0  # 2026-01-15T00:00:00Z: a date of our own
STEP = 10  # seconds between sets
BLEED = 0.05  # balance current as the pack describes it, A; the cells themselves are not bled
KNOWN = {}


def write_log(path, times, amps, cells):
    pack, bank = Sender(0), Sender(16)
    with open(path, "w", encoding="ascii") as log:
        for k, (second, current, volts) in enumerate(zip(times, amps, cells)):
            time = START + second
            if k % 3 == 0:
                log.write(pack.hello(time) + bank.hello(time) + bank.packs(time, 1))
                log.write(pack.ratings(time, 4, CAPACITY, discharge=CAPACITY) + pack.path(time, heater_fitted=0, balance_kind=3))
                log.write(pack.balance(time, BLEED, 3.45))
                log.write(pack.sensors(time, [(1, 2)]) + pack.beat(time, second) + bank.beat(time, second))
            log.write(pack.cells(time, 0, volts) + pack.temperatures(time, [25.0]))
            log.write(pack.power(time, current, sum(volts), MISSING))
            log.write(pack.state(time, charge_path=1, discharge_path=1, heater_on=0))


def one(cell, profile):
    """Volts and charge of a cell under a profile, run once."""
    key = (*cell, tuple(profile.amps))
    if key not in KNOWN:
        KNOWN[key] = Cell(*cell).run(profile.times, np.array(profile.amps))
    return KNOWN[key]


class String:
    """Four cells (charge at the start, capacity) after a charge and a discharge, as `check` sees them."""

    def __init__(self, expect, name, cells, hours):
        self.expect, self.name = expect, name
        self.cells = np.array(cells)
        profile = Profile(STEP).hold(0.25, 0).hold(2.4, 20).taper(2, 20, 25).hold(0.2, 0).hold(3.5, -20)
        profile.hold(hours, -8).hold(0.25, 0)
        runs = [one(cell, profile) for cell in cells]
        volts = np.array([volts for volts, _ in runs]).T
        volts = np.round(volts + np.random.default_rng(11).normal(0, 0.4e-3, volts.shape), 3)
        self.left = float(np.mean([charge[-1] * cell[1] for (_, charge), cell in zip(runs, cells)]))
        path = scratch("string.log")
        write_log(path, profile.times, profile.amps, volts.tolist())
        self.verdict = json.loads(run("check", "--format", "json", path, exits=(0, 1, 3)))
        self.worst = 0.0

    def row(self, name, cell=None):
        found = [row for row in self.verdict["estimates"].get(name, []) if row["cell"] == cell]
        if not found:
            return None
        return (found[0]["value"], *(found[0]["bounds"] or (None, None)))

    def within(self, what, name, truth, tolerance, cell=None):
        """The truth lies within the bounds, and the value, where there is one, is no further off than the tolerance."""
        found = self.row(name, cell)
        if found is None and cell is not None:  # no cell stands out: then the truth must be next to nothing
            self.expect.that(f"{self.name}: {what}: nothing stands out", abs(truth) <= tolerance, truth)
            return
        value, low, high = found or (None, None, None)
        print(f"  {self.name}: {what}: {value} [{low}, {high}], truth {truth:.3f}")
        bounded = (low is not None or high is not None) and (low is None or low <= truth) and (high is None or truth <= high)
        self.expect.that(f"{self.name}: {what} lies within its bounds", bounded, (low, truth, high))
        if value is not None:
            self.expect.near(f"{self.name}: {what}", value, truth, tolerance)

    def judged(self):
        """Every figure against the truth, in Ah."""
        charge, capacity = self.cells[:, 0] * self.cells[:, 1] * CAPACITY, self.cells[:, 1] * CAPACITY
        behind = capacity - charge  # what is missing to full, by cell
        top = np.median(behind) - behind
        self.within("spread at the top", "imbalance_ah", np.ptp(behind), 0.4)
        self.within("spread at the bottom", "imbalance_low_ah", np.ptp(charge), 0.4 + 0.1 * np.ptp(charge))
        bottom = np.median(charge) - charge
        less = np.median(capacity) - capacity
        for k in range(4):
            self.within(f"cell {k + 1} early at the top", "early_at_top_ah", top[k], 0.4, k + 1)
            # At the bottom a cell is at the mark, not empty: a small cell has a little less left there.
            self.within(f"cell {k + 1} early at the bottom", "early_at_bottom_ah", bottom[k], 0.4 + 0.1 * abs(bottom[k]), k + 1)
            self.within(f"cell {k + 1} holds less", "less_than_median_ah", less[k], 0.4 + 0.1 * abs(less[k]), k + 1)
        return self

    def found(self, code):
        return [(f["cell"], f["severity"]) for f in self.verdict["findings"] if f["code"] == code]


expect = Expect()

level = String(expect, "nearly level", [(0.4325, 1.0), (0.436, 1.0), (0.434, 1.0), (0.433, 1.0)], 3.2).judged()
# The string's capacity is that of the cell that is full first and of the one that is empty first: 100 Ah but for 0.35 Ah.
level.within("capacity", "capacity_ah", CAPACITY, 0.04 * CAPACITY)
level.within("hours of bleeding", "rebalance_h", 0.35 / BLEED, 0.4 / BLEED)
level.within("state of charge at the end, %", "soc_percent", level.left * 100, 4.0)
for code in ("imbalance", "low-capacity-cell", "self-discharging-cell", "high-resistance-connection"):
    expect.same(f"nearly level: no {code}", level.found(code), [])

small = String(expect, "a small cell", [(0.433, 1.0), (0.385, 0.92), (0.434, 1.0), (0.432, 1.0)], 2.42)
small.within("cell 2 holds less", "less_than_median_ah", 8.0, 0.9, 2)
small.within("spread at the bottom", "imbalance_low_ah", 43.4 - 0.385 * 92, 1.2)
small.within("capacity of the string", "capacity_ah", 92.0, 0.04 * 92)
expect.same("a small cell: told of that cell alone", small.found("low-capacity-cell"), [(2, "notice")])
expect.same("a small cell: no imbalance at the top", small.found("imbalance"), [])

late = String(expect, "a cell 3.5 Ah behind", [(0.433, 1.0), (0.398, 1.0), (0.434, 1.0), (0.432, 1.0)], 2.75)
late.within("spread at the top", "imbalance_ah", 3.6, 0.4)
late.within("spread at the bottom", "imbalance_low_ah", 3.6, 1.1)
late.within("cell 2 early at the bottom", "early_at_bottom_ah", 3.5, 1.1, 2)
# Its charge ends before it comes: what is known is a bound of more than 1 % beside more than 100 mV, which is a warning.
expect.same("a cell 3.5 Ah behind: told of that cell alone", late.found("imbalance"), [(2, "warning")])
expect.same("a cell 3.5 Ah behind: not taken for a small one", late.found("low-capacity-cell"), [])

expect.close()
