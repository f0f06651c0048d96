"""Weeks of use of a string that our simulator did not make: what a cell loses by itself, what the current sensor reads at
zero, what of the charge does not come back, and what is drawn at night.

Cells: PyBaMM (series.py names model, parameters and curve). One of four has a constant leak of known size; the log's
current has a constant added, and a known share of the charge put in reaches no cell. Every day some loads, every day a
full charge: the truth is what was put in. A leak of one cell shows as a drift against its siblings: Zheng 2013, J. Power
Sources 226:33. Charge put in that does not come back, 0 to 0.5 %: C/30 cycles of an open LFP test set (Plett).
"""

import numpy as np
from bank_log import Pack, holds, judge
from expect import Expect
from series import String, agrees, tapers

STEP = 60  # seconds between sets
FEEDS = 15.0  # A of the charger
ABSORPTION, TAIL = 14.2, 4.0  # V held, and A at which it ends
STANDBY = 0.4  # A, always
EMPTIED = (1, 7, 13)  # days on which it is run down before the charge, ...
RUN_DOWN = (8.0, 140, 2.88)  # ... at so many amperes, from that minute on, until its lowest cell is there, V


def loads(days):
    """A drawn in each minute: what is always on, a fridge by its thermostat, mornings and evenings that differ."""
    chance, amps = np.random.default_rng(3), []
    for _ in range(days):
        evening, morning = chance.uniform(4, 9), chance.uniform(6, 14)
        for minute in range(1440):
            hour = minute / 60
            use = STANDBY
            use += 4.0 if minute % 60 < 18 and not 2 <= hour < 5 else 0.0  # warm by day, cold and still for three hours
            use += morning if 7 <= hour < 8.5 else evening if 18 <= hour < 22.5 else 0.0
            amps.append(use)
    return np.array(amps)


class Weeks:
    """A string in use. In the log a set a minute; `true` is the current that flowed."""

    def __init__(self, days, **string):
        cells = String([0.70, 0.699, 0.7005, 0.701], **string)
        self.true, self.volts = [], []
        charging = emptying = False
        run_down, from_minute, down_to = RUN_DOWN
        for minute, drawn in enumerate(loads(days)):
            day, of_day = divmod(minute, 1440)
            charging |= of_day == 600
            emptying |= of_day == from_minute and day in EMPTIED
            if charging:
                amps, volts = cells.hold(ABSORPTION, FEEDS - drawn, STEP, least=-drawn)
                charging = amps > TAIL
            else:
                low = day in EMPTIED and from_minute <= of_day < 600
                amps = -(run_down if emptying else STANDBY if low else drawn)
                volts = cells.go(amps, STEP)
                emptying &= volts.min() > down_to
            self.true.append(amps)
            self.volts.append(volts)

    def judged(self, offset=0.0, minutes=None):
        """What `check` says of it, with what the sensor reads at zero."""
        pack, sets = Pack(), zip(self.true[:minutes], self.volts)
        log = (pack.set(k * STEP, amps + offset, volts) for k, (amps, volts) in enumerate(sets))
        return judge("weeks.log", log)


def leak(expect, milliamps, days):
    """Cell 3 loses so much by itself, found from one visit of the lower knee to the next."""
    verdict = Weeks(days, leaks=[0.0, 0.0, milliamps / 1000, 0.0]).judged()
    name = f"a leak of {milliamps} mA"
    told = [(pack, cell) for pack, cell, _ in verdict.told("self-discharging-cell")]
    expect.same(f"{name}: told of that cell alone", told, [(1, 3)])
    row = verdict.row("loses_ma", cell=3)
    # The other cells have not come to the knee when the discharge ends. What they have left is known from published
    # curves, which differ by 40 % there: the bounds are no wider than that and the voltage make them.
    holds(expect, f"{name}: loses_ma", row, milliamps, 0.95 * (row or (0.0,))[0])
    for finding in verdict.findings("self-discharging-cell"):
        lost, over = finding["evidence"]["lost_ah"], finding["evidence"]["lost_over_days"]
        truth = milliamps / 1000 * 24 * over
        print(f"  {name}: {lost:.2f} Ah lost over {over:.1f} days, truth {truth:.2f}")
        expect.that(f"{name}: Ah lost", 0.5 * truth <= lost <= 2.0 * truth, (lost, truth))
        # 10 mA is a warning; near it either may be told.
        expect.that(f"{name}: warned of when plain", finding["severity"] == "warning" or milliamps < 15, finding["severity"])
    others = [f["code"] for f in verdict.document["findings"] if f["code"] not in ("self-discharging-cell", "imbalance")]
    expect.same(f"{name}: nothing else is told but that it stands behind", others, [])


def sensor(expect, weeks, lost, offset):
    """A current sensor that reads so much at zero."""
    verdict = weeks.judged(offset)
    name = f"offset {offset:+.2f} A, {100 * lost:.1f} % lost"
    # A full charge tells the charge to 1 % of the capacity, here after a day each: 1 Ah over 24 h and fourteen days.
    holds(expect, f"{name}: current_offset_a", verdict.row("current_offset_a"), offset, 0.12)
    # Two weeks tell next to nothing of a loss of some parts in a thousand: what is known beforehand, 0.25 ± 0.8 %.
    holds(expect, f"{name}: charge_lost_percent", verdict.row("charge_lost_percent"), 100 * lost, 1.61)
    holds(expect, f"{name}: standby_draw_a, less the offset", verdict.row("standby_draw_a"), STANDBY, 0.2)
    told = [f["code"] for f in verdict.document["findings"]]
    expect.same(f"{name}: told when it is beyond half an ampere, and nothing else", told, ["sensor-fault"] * (abs(offset) > 0.5))
    expect.same(f"{name}: no cell loses charge", verdict.document["estimates"].get("loses_ma", []), [])


def first_days(expect, weeks):
    """Before the offset is learnt a tenth of an ampere is reckoned with."""
    for offset in (0.0, 0.09):
        name = f"three days, offset {offset:+.2f} A"
        verdict = weeks.judged(offset, minutes=3 * 1440)
        expect.that(f"{name}: not yet learnt", verdict.row("current_offset_a")[0] is None, verdict.row("current_offset_a"))
        holds(expect, f"{name}: standby_draw_a", verdict.row("standby_draw_a"), STANDBY, 0.2)


expect = Expect()
agrees(expect)
tapers(expect)
leak(expect, 8, 15)
leak(expect, 25, 8)
weeks = Weeks(15)
first_days(expect, weeks)
sensor(expect, weeks, 0.0, 0.3)
sensor(expect, weeks, 0.0, -0.6)
weeks = Weeks(15, lost=0.004)
sensor(expect, weeks, 0.004, 0.0)
sensor(expect, weeks, 0.004, -0.25)
expect.close()
