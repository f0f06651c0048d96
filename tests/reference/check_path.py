"""What lies beside the current sensor or beyond the cells, against cells that our simulator did not make.

PyBaMM's cells (series.py names model, parameters and curve) in steps of the current. A resistance of known size between
cells and bus: by Ohm's law the bus stands so much above or below the sum of the cells. A load ahead of the sensor: by
Kirchhoff's law of currents the cells carry what the sensor reads and the load besides. The truth is what was put in.
"""

import numpy as np
from bank_log import Pack, holds, judge
from expect import Expect
from series import String

CELLS = {"sizes": [1.0, 1.03, 0.98, 1.01], "connections": [0.0, 0.1, 0.0, 0.05]}
LEVELS = [-2.0, -32.0, 8.0, -42.0, -6.0, -24.0, 12.0]  # A, each for four and a half minutes


def stepped(seconds):
    """Currents and volts of the cells, second by second."""
    string = String([0.62, 0.61, 0.63, 0.62], **CELLS)
    amps = [LEVELS[second // 270 % len(LEVELS)] for second in range(seconds)]
    return amps, [string.go(one, 1) for one in amps]


def outside(expect, run, milliohms, bus_step):
    """A resistance between cells and bus, read so coarsely."""
    pack = Pack(described=[(0x63, (48, 16, 0.0001, 0, bus_step))])
    noise = np.random.default_rng(9)
    log = []
    for second, (amps, volts) in enumerate(zip(*run)):
        bus = sum(volts) + amps * milliohms * 1e-3 + noise.normal(0, 1e-3)
        log.append(pack.set(second, amps, volts, bus=round(bus / bus_step) * bus_step))
    verdict = judge("outside.log", log)
    name = f"{milliohms} mΩ outside, bus to {1000 * bus_step:.0f} mV"
    # The gain of the sensor, 4 %, and what some twenty steps of 8 to 50 A leave of the resolution.
    widest = 2 * (0.04 * milliohms + (0.15 if bus_step < 0.005 else 0.3))
    holds(expect, f"{name}: outside_cells_mohm", verdict.row("outside_cells_mohm"), milliohms, widest)
    # What a path has from the beginning (BMS, fuse, switch) is an estimate; told is what grows.
    expect.same(f"{name}: nothing is told", [f["code"] for f in verdict.document["findings"]], [])


def grown(expect, run, before, after):
    """The same, and from the middle on so much more."""
    pack, log, half = Pack(described=[(0x63, (48, 16, 0.0001, 0, 0.002))]), [], len(run[0]) // 2
    for second, (amps, volts) in enumerate(zip(*run)):
        milliohms = before if second < half else after
        log.append(pack.set(second, amps, volts, bus=sum(volts) + amps * milliohms * 1e-3))
    verdict = judge("grown.log", log)
    name = f"outside from {before} to {after} mΩ"
    found = [finding for finding in verdict.findings("high-resistance-connection") if finding["cell"] is None]
    print(f"  {name}: {[(finding['severity'], finding['evidence'].get('growth_mohm')) for finding in found]}")
    watts = (after - before) * 1e-3 * 100**2  # at the rated 100 A
    expect.same(f"{name}: told from 3 W on, a warning from 15 W", [f["severity"] for f in found], ["warning" if watts > 15 else "notice"] * (watts > 3))


def hidden(expect, amps, sees, told):
    """A load of so many amperes, ten minutes of every half hour, that the sensor reads or does not."""
    string = String([0.62, 0.61, 0.63, 0.62], **CELLS)
    pack, log, moved, before = Pack(), [], [], None
    for second in range(3 * 3600):
        seen = -5.0 if second >= 1800 else LEVELS[second // 150 % len(LEVELS)]
        on = second >= 1800 and second % 1800 < 600
        flows = seen - amps * on
        volts = string.go(flows, 1)
        if before is not None and before[1] != on and second > 1800:
            moved.append(abs(float(np.median(volts - before[0]))) * 1e3)
        before = volts, on
        log.append(pack.set(second, flows if sees else seen, volts))
    verdict = judge("hidden.log", log)
    name = f"a load of {amps} A that the sensor {'reads' if sees else 'does not read'}"
    found = verdict.findings("bank-description")
    expect.same(f"{name}: told", [finding["severity"] for finding in found], ["notice"] * told)
    for finding in found:
        evidence, truth = finding["evidence"], float(np.mean(moved))
        print(f"  {name}: {evidence['hidden_step_times']:.0f} steps of {abs(evidence['hidden_step_mv']):.1f} mV, truth {truth:.1f} mV")
        expect.near(f"{name}: mV that it moves the cells by", abs(evidence["hidden_step_mv"]), truth, 2.0 + 0.1 * truth)
        expect.that(f"{name}: bypass is named", "sensor" in finding["text"], finding["text"])
    others = [f["code"] for f in verdict.document["findings"] if f["code"] != "bank-description"]
    expect.same(f"{name}: nothing else", others, [])


expect = Expect()
run = stepped(5400)
for milliohms, bus_step in ((0.3, 0.002), (1.0, 0.002), (4.0, 0.002), (1.0, 0.01), (4.0, 0.01)):
    outside(expect, run, milliohms, bus_step)
grown(expect, run, 1.0, 1.0)
grown(expect, run, 1.0, 4.0)
hidden(expect, 25.0, sees=False, told=True)
hidden(expect, 14.0, sees=False, told=True)
hidden(expect, 4.0, sees=False, told=False)
hidden(expect, 25.0, sees=True, told=False)
expect.close()
