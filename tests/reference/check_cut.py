"""The last minute before a BMS cuts its pack off, and the largest current, with cells that our simulator did not make.

PyBaMM's cells (series.py names model, parameters and curve), one of them smaller, drawn or charged until the BMS opens
its path at a limit that it reports. How far each cell was from the limit, where it stood a minute later, and how long the
pack was cut off is what PyBaMM's cells did. The largest current is the one at which PyBaMM's weakest cell comes to 2.5 V
within ten seconds.
"""

from bank_log import Pack, holds, judge
from expect import Expect
from series import String, root

STEP = 1
LOW, HIGH = 2.8, 3.65  # V: what the BMS allows
LIMITS = [(0x33, (32, 16, 1e-4, 0, HIGH), (48, 16, 1e-4, 0, LOW))]


def cut(expect, soc, sizes, amps, until):
    """Runs until a cell passes the limit, is cut off for so many seconds, and goes on the other way."""
    string, pack, log, second = String(soc, sizes=sizes), Pack(described=LIMITS), [], 0
    charging = amps > 0
    beyond = (lambda volts: volts.max() > HIGH) if charging else (lambda volts: volts.min() < LOW)
    volts = None
    while volts is None or not beyond(volts):
        volts = string.go(amps, STEP)
        log.append(pack.set(second, amps, volts))
        second += STEP
    first = int(volts.argmax() if charging else volts.argmin())
    margin = HIGH - volts.max() if charging else volts.min() - LOW
    paths = (0, 1) if charging else (1, 0)
    for passed in range(until):
        rests = string.go(0.0, STEP)
        log.append(pack.set(second, 0.0, rests, paths=paths))
        after = rests[first] if passed == 60 else after if passed > 60 else None
        second += STEP
    for _ in range(120):
        log.append(pack.set(second, -0.2 * amps, string.go(-0.2 * amps, STEP)))
        second += STEP
    verdict = judge("cut.log", log)
    name = f"cut off at {amps:+.0f} A"
    found = verdict.told("bms-cutoff")
    expect.same(f"{name}: told", [severity for _, _, severity in found], ["warning"])
    expect.same(f"{name}: that cell came first", verdict.findings("bms-cutoff")[0]["evidence"].get("first_cell_number"), first + 1)
    # A reading is off by its noise of 0.4 mV and half a millivolt.
    for what, cell, truth, off in (
        ("cut_margin_v", first + 1, margin, 0.0025),
        ("cut_cell_after_60_s_v", first + 1, after, 0.0025),
        ("cut_recovered_after_s", None, float(until), 1.0),
    ):
        value = (verdict.row(what, cell=cell) or (None,))[0]
        print(f"  {name}: {what}: {value}, truth {truth:.4f}")
        expect.near(f"{name}: {what}", value, truth, off)
    evidence = verdict.findings("bms-cutoff")[0]["evidence"]
    expect.near(f"{name}: current before", evidence["current_before_a"], amps, 0.001)


def switched_off(expect):
    """The same current switched off by hand far from any limit is no cut-off."""
    string, pack, log = String([0.5] * 4), Pack(described=LIMITS), []
    for second in range(900):
        amps = -40.0 if second < 600 else 0.0
        log.append(pack.set(second, amps, string.go(amps, STEP)))
    verdict = judge("off.log", log)
    expect.same("a load switched off: no cut-off", verdict.told("bms-cutoff"), [])
    expect.same("a load switched off: no margin", verdict.document["estimates"].get("cut_margin_v", []), [])


def largest(expect, soc, load):
    """After five minutes at a load: what the weakest of unlike cells can give for ten seconds."""
    string, pack = String([soc, soc - 0.02, soc, soc + 0.01], connections=[0.0, 0.2, 0.0, 0.0]), Pack()
    log = [pack.set(k, -load, string.go(-load, STEP)) for k in range(300)]
    row = judge("largest.log", log).row("largest_current_now_a")
    string.look(10)
    truth = -root(lambda amps: string.at(amps).min() - 2.5, -3000.0, 0.0)
    # The cells' own resistance is not asked for: it may be 0.6 to 1.8 times the usual, so that the ends are as 3 to 1.
    holds(expect, f"{100 * soc:.0f} %, at {load:.0f} A: largest_current_now_a", row, truth, 1.2 * row[0])


expect = Expect()
cut(expect, [0.12, 0.118, 0.12, 0.121], [1.0, 1.0, 0.93, 1.0], -40.0, 300)
cut(expect, [0.93, 0.945, 0.93, 0.931], None, 30.0, 900)
switched_off(expect)
for soc, load in ((0.1, 5.0), (0.3, 5.0), (0.3, 60.0), (0.7, 20.0)):
    largest(expect, soc, load)
expect.close()
