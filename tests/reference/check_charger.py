"""Charges from bulk to float, and how long a bank lasts, against cells that our simulator did not make.

PyBaMM's cells (series.py names model, parameters and curve) under a charger as any charger for several stages works: a
current, then a voltage held for a time, then a lower one for hours while loads run beside; the BMS draws a tenth of an
ampere from the cells. What was held, for how long, and where the current ended is what was put in or what flowed. How
long the cells last at a load, and how long a charge of them takes, is how long PyBaMM's took. Compensation for lead-acid
batteries: -18 mV/K on twelve volts (-3 mV/K for each of six cells: common practice, no source).
"""

from bank_log import Pack, holds, judge
from expect import Expect
from series import String

STEP = 10
BMS = 0.1  # A from every cell, always
SOC = [0.40, 0.399, 0.4005, 0.401]


class Day:
    """A string in use; what flowed, and the volts of its cells."""

    def __init__(self, soc, step=STEP):
        self.string, self.step, self.amps, self.volts = String(soc, leaks=[BMS] * 4), step, [], []

    @property
    def second(self):
        return len(self.amps) * self.step

    def load(self, hours, amps):
        for _ in range(round(hours * 3600 / self.step)):
            self.keep(-amps, self.string.go(-amps, self.step))
        return self

    def bulk(self, amps, volts, tail=None):
        """Until the voltage is reached, or until the current has fallen to the tail."""
        flows = amps
        while flows >= (tail or amps):
            flows, cells = self.string.hold(volts, amps, self.step)
            self.keep(flows, cells)
        return self

    def held(self, hours, amps, volts, beside=0.0):
        """The charger gives at most so much and carries a load beside the cells."""
        for _ in range(round(hours * 3600 / self.step)):
            self.keep(*self.string.hold(volts, amps - beside, self.step, least=-beside))
        return self

    def keep(self, flows, cells):
        self.amps.append(flows)
        self.volts.append(cells)

    def log(self, pack, celsius=25.0, begin=0, until=None):
        sets = zip(self.amps[:until], self.volts)
        return [pack.set(begin + k * self.step, amps, volts, celsius=[celsius]) for k, (amps, volts) in enumerate(sets)]


def session(expect, amps, absorption, hours, floats):
    """A charge with its absorption for so long, and a float where one is given; then nothing, then loads."""
    day = Day(SOC).load(0.5, 4.0)
    begin = day.second
    day.bulk(amps, absorption).held(hours, amps, absorption)
    tail, end = day.amps[-1], day.second
    if floats:
        day.held(4.0, amps, floats, beside=3.0)
        end = day.second
    day.load(1.0, 0.0).load(1.0, 6.0)
    verdict = judge("charge.log", day.log(Pack()))
    name = f"{amps} A, {absorption} V for {hours} h{f', {floats} V' if floats else ''}"
    value = lambda what: (verdict.row(what) or (None,))[0]
    truths = {
        "session_bulk_a": (amps, 0.01),
        # A voltage that stands moves by no more than 15 mV a cell, and is told as its mean.
        "session_held_v": (absorption, 0.03),
        "session_tail_a": (tail, 0.05 + 0.1 * tail),
        "session_float_v": (floats, 0.03),
        "session_h": ((end - begin) / 3600, 0.05),
        "session_restarts": (0.0, 0.0),
    }
    for what, (truth, off) in truths.items():
        print(f"  {name}: {what}: {value(what)}, truth {truth if truth is None else round(truth, 3)}")
        if truth is None:
            expect.same(f"{name}: no {what}", value(what), None)
        else:
            expect.near(f"{name}: {what}", value(what), truth, off)
    told = [finding["code"] for finding in verdict.document["findings"]]
    expect.same(f"{name}: nothing is told of it", told, [])


def compensated(expect, slope):
    """Five charges on cold and warm days; PyBaMM's cells stay at 25 °C, their voltage is held all the same."""
    pack, log, day = Pack(), [], Day([0.9, 0.899, 0.9, 0.901], step=30)
    for celsius in (25.0, 9.0, 17.0, -3.0, 3.0):
        first = len(day.amps)
        volts = 14.2 + slope * (celsius - 25)
        day.bulk(20.0, volts).held(0.5, 20.0, volts).load(1.5, 8.0)
        sets = zip(day.amps[first:], day.volts[first:])
        log += [pack.set((first + k) * day.step, amps, cells, celsius=[celsius]) for k, (amps, cells) in enumerate(sets)]
    verdict = judge("compensation.log", log)
    row, name = verdict.row("charger_compensation_mv_per_k"), f"{1000 * slope:.0f} mV/K"
    print(f"  {name}: charger_compensation_mv_per_k: {row[0]}")
    expect.near(f"{name}: charger_compensation_mv_per_k", row[0], 1000 * slope, 1.0)
    told = [severity for _, _, severity in verdict.told("charger-profile")]
    expect.same(f"{name}: told of the charger", told, ["warning"] * (slope < 0))  # 14.7 V at -3 °C is more than 3.66 V a cell


def lasts(expect, load, feeds):
    """From full, at a load, then at a charge: what was told halfway, and how long it took in truth."""
    full = Day(SOC).bulk(20.0, 14.2).held(0.5, 20.0, 14.2)
    slowly = full.string.copy()
    while slowly.go(-5.0, 60).min() > 2.5:
        pass
    rated = round(float((full.string.charge - slowly.charge).mean()), 1)  # what it gives at C/20, as cells are rated
    for drawn in (30.0, 65.0):
        day = Day(SOC)
        day.string, day.amps, day.volts = full.string.copy(), list(full.amps), list(full.volts)
        day.load(drawn / load, load)
        verdict, asked = judge("empty.log", day.log(Pack(capacity=rated))), day.second
        while day.volts[-1].min() > 2.5:
            day.load(1 / 360, load)
        name, truth = f"{drawn:.0f} Ah drawn at {load} A", (day.second - asked) / 3600
        holds(expect, f"{name}: to_empty_h", verdict.row("to_empty_h"), truth, 0.25 * truth + 0.4)
    day = Day(SOC)
    day.string, day.amps, day.volts = full.string.copy(), list(full.amps), list(full.volts)
    day.load(60.0 / load, load).held(1.0, feeds, 14.2)
    verdict, asked = judge("full.log", day.log(Pack(capacity=rated))), day.second
    day.bulk(feeds, 14.2, tail=4.0)
    truth = (day.second - asked) / 3600
    holds(expect, f"an hour at {feeds} A: to_full_h", verdict.row("to_full_h"), truth, 0.25 * truth + 1.6)


expect = Expect()
session(expect, 30.0, 14.2, 0.5, 13.5)
session(expect, 20.0, 14.4, 1.0, None)
session(expect, 40.0, 13.8, 0.3, None)
compensated(expect, 0.0)
compensated(expect, -0.018)
lasts(expect, 20.0, 15.0)
expect.close()
