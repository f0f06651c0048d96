"""Cold and heat limits at stated points, from outside: logs made here, judged by `check`.

Tier 2 of cold charging: 0.20C at -4 °C (common practice), scaled by 31 kJ/mol (computed in PyBaMM from published cells:
O'Kane 2022, 10.1039/D2CP00417H; Ecker 2015, 10.1149/2.0551509jes). Tier 1: 0.16C at 10 °C is published for a large LFP cell
(Gasper 2023, 10.1016/j.est.2023.109042), the other points are judgement. Heat: 60 °C is common practice, the rest judgement.
"""

import json

from expect import Expect, run, scratch
from own_format import MISSING, Sender

START = 1_768_435_200.0
CAPACITY = 200.0
# Rate at which plating is likely, at the temperature; computed apart from the program.
PLATING = {-20: 0.083, -10: 0.146, 0: 0.245, 5: 0.313, 10: 0.397, 12: 0.435}
# The sheet's limit at its own points below 15 °C and between two of them.
SHEET = {0: 0.05, 2.5: 0.075, 5: 0.10, 7.5: 0.13, 10: 0.16, 12.5: 0.245}


def judge(stretches):
    """Verdict over stretches of (minutes, °C, rate in C); four cells at 3.33 V, a reading a second."""
    path = scratch("limits.log")
    pack, bank = Sender(0), Sender(16)
    second = 0
    with open(path, "w", encoding="ascii") as log:
        for minutes, celsius, rate in stretches:
            for _ in range(round(minutes * 60)):
                time = START + second
                if second % 5 == 0:
                    log.write(pack.hello(time) + bank.hello(time) + bank.packs(time, 1))
                    log.write(pack.ratings(time, 4, CAPACITY, charge=2 * CAPACITY, discharge=2 * CAPACITY))
                    log.write(pack.path(time, heater_fitted=0) + pack.sensors(time, [(1, 2)]))
                    log.write(pack.beat(time, second) + bank.beat(time, second))
                log.write(pack.cells(time, 0, [3.33] * 4) + pack.temperatures(time, [celsius]))
                log.write(pack.power(time, rate * CAPACITY, 13.32, MISSING))
                log.write(pack.state(time, charge_path=1, discharge_path=1, heater_on=0))
                second += 1
    verdict = json.loads(run("check", "--format", "json", path, exits=(0, 1, 3)))
    return {finding["code"]: finding["severity"] for finding in verdict["findings"]}


def cold(expect):
    for celsius, limit in PLATING.items():
        quiet = [(1, celsius, 0.0)]
        found = judge(quiet + [(2, celsius, limit - 0.004)] + quiet)
        expect.same(f"two minutes just under the plating limit at {celsius} °C", found, {})
        found = judge(quiet + [(2, celsius, limit + 0.004)] + quiet)
        expect.same(f"two minutes just above it at {celsius} °C", found, {"cold-charge": "warning"})
        found = judge(quiet + [(0.5, celsius, 2 * limit + 0.01)] + quiet)
        expect.same(f"half a minute above twice the limit at {celsius} °C", found, {"cold-charge": "urgent"})
    for celsius, limit in SHEET.items():
        found = judge([(1, celsius, 0.0), (12, celsius, limit - 0.004)])
        expect.same(f"twelve minutes just under the sheet's limit at {celsius} °C", found, {})
        found = judge([(1, celsius, 0.0), (12, celsius, limit + 0.004)])
        expect.same(f"twelve minutes just above it at {celsius} °C", found, {"cold-charge": "notice"})
        found = judge([(1, celsius, 0.0), (8, celsius, limit + 0.004)])
        expect.same(f"eight minutes just above it at {celsius} °C", found, {})
    expect.same("discharging in the cold is allowed", judge([(20, -15, -0.5)]), {})
    expect.same("below 0 °C the dead-band is no charge", judge([(20, -5, 0.018)]), {})
    found = judge([(20, -5, 0.025)])
    expect.same("below 0 °C the sheet allows nothing", found, {"cold-charge": "notice"})


def heat(expect):
    charging = {45: "notice", 50: "warning", 55: "urgent"}
    before = None
    for celsius, severity in charging.items():
        found = judge([(1, 30, 0.1), (2, celsius - 0.3, 0.05)]).get("overtemperature")
        expect.same(f"charging just under {celsius} °C", found, before)
        found = judge([(1, 30, 0.1), (2, celsius + 0.3, 0.05)]).get("overtemperature")
        expect.same(f"charging just above {celsius} °C", found, severity)
        before = severity
    for celsius, under, above in ((55, None, "warning"), (60, "warning", "urgent")):
        found = judge([(1, 30, -0.1), (2, celsius - 0.3, -0.1)]).get("overtemperature")
        expect.same(f"not charging, just under {celsius} °C", found, under)
        found = judge([(1, 30, -0.1), (2, celsius + 0.3, -0.1)]).get("overtemperature")
        expect.same(f"not charging, just above {celsius} °C", found, above)
    found = judge([(1, 30, -0.1), (0.3, 61, -0.1), (1, 30, -0.1)]).get("overtemperature")
    expect.same("18 seconds of heat are not held long enough", found, None)


expect = Expect()
cold(expect)
heat(expect)
expect.close()
