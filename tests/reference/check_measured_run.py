"""Measured runs of a real cell, decoded and judged whole.

Source: Kawakita de Souza, A. (2021), Lithium-ion Battery OCV and Dynamic Test Data of a LiFePO4 cylindrical cell,
Mendeley Data V1, doi:10.17632/p8kf893yv3.1, CC BY 4.0. One 2.5 Ah cell; forty in parallel and four such groups in
series make the 100 Ah pack shown here. Where no surface reading was taken the chamber's set-point stands for it.
"""

import csv
import gzip
import json
import math
import os
import sys
from pathlib import Path

from expect import Expect, run, scratch
from own_format import MISSING, Sender

PARALLEL = 40
CAPACITY = 100.0
START = 1_768_435_200.0  # 2026-01-15T00:00:00Z: a date of our own, the runs carry none


def rows(name):
    folder = os.environ.get("CELLWRIGHT_MEASURED")
    if not folder:
        sys.exit("CELLWRIGHT_MEASURED names no folder with the measured runs: this check cannot be left out")
    with gzip.open(Path(folder) / name, "rt", encoding="ascii") as file:
        return [{key: float(value) for key, value in row.items()} for row in csv.DictReader(file)]


def write_log(path, run_rows, set_point, capacity=CAPACITY):
    pack, bank = Sender(0), Sender(16)
    described = -math.inf
    with open(path, "w", encoding="ascii") as log:
        for row in run_rows:
            time = START + row["time_s"]
            if row["time_s"] - described >= 5:
                described = row["time_s"]
                log.write(pack.hello(time) + bank.hello(time) + bank.packs(time, 1))
                # The cell is made for power: 2C out is within its rating.
                log.write(pack.ratings(time, 4, capacity, discharge=2 * CAPACITY) + pack.path(time, heater_fitted=0))
                log.write(pack.sensors(time, [(1, 2)]))
                log.write(pack.beat(time, row["time_s"]) + bank.beat(time, row["time_s"]))
            volts = row["voltage_V"]
            log.write(pack.cells(time, 0, [volts] * 4))
            log.write(pack.temperatures(time, [row.get("surface_degC", set_point)]))
            log.write(pack.power(time, row["current_A"] * PARALLEL, 4 * volts, MISSING))
            log.write(pack.state(time, charge_path=1, discharge_path=1, heater_on=0))
    return pack.sent + bank.sent


def plating_limit(celsius):
    """Tier 2 of the cold-charge limit: 0.20C at -4 °C (common practice), scaled by 31 kJ/mol (computed from published
    cell models in PyBaMM), nothing below -20 °C."""
    if celsius < -20:
        return 0.0
    return 0.20 * math.exp(-31_000 / 8.314462618 * (1 / (celsius + 273.15) - 1 / 269.15))


def spells(run_rows, above):
    """Stretches of readings with more charge current than `above` (in C): seconds from first to last reading, readings."""
    found, first, last, count = [], None, None, 0
    for row in run_rows:
        if row["current_A"] * PARALLEL / CAPACITY > above:
            first, last, count = row["time_s"] if first is None else first, row["time_s"], count + 1
        elif first is not None:
            found.append((last - first, count))
            first, count = None, 0
    return found + ([(last - first, count)] if first is not None else [])


def highest_rms(run_rows, seconds):
    """Largest root mean square of the discharge current over a window, in C; samples a second apart."""
    squares = [min(row["current_A"], 0.0) ** 2 for row in run_rows]
    window = total = 0.0
    for k, square in enumerate(squares):
        total += square - (squares[k - seconds] if k >= seconds else 0.0)
        window = max(window, total)
    return math.sqrt(window / seconds) * PARALLEL / CAPACITY


def decoded_charge(path):
    """Ampere-hours in and out, summed from the decoded current with each sample holding until the next."""
    charged = discharged = 0.0
    before = None
    for line in run("decode", path, "--format", "ndjson").splitlines():
        frame = json.loads(line)
        amps = frame["signals"].get("pack1_current_a")
        if frame["message"] != "pack_power":
            continue
        time = seconds_of(frame["time"])
        if before is not None:
            hours = (time - before[0]) / 3600
            charged += max(before[1], 0) * hours
            discharged += max(-before[1], 0) * hours
        before = (time, amps)
    return charged, discharged


def seconds_of(rfc3339):
    from datetime import datetime, timezone

    whole, fraction = rfc3339.rstrip("Z").split(".")
    moment = datetime.fromisoformat(whole).replace(tzinfo=timezone.utc)
    return moment.timestamp() + float("0." + fraction)


def judge(path):
    return json.loads(run("check", "--format", "json", path, exits=(0, 1, 3)))


def found(verdict):
    return sorted((f["code"], f["severity"]) for f in verdict["findings"])


def counters(expect, name, path, run_rows):
    charged, discharged = decoded_charge(path)
    # The cycler counts between samples; a sum over samples a second apart sees the edges of pulses coarsely, the net less so.
    theirs_in, theirs_out = (run_rows[-1][column] * PARALLEL for column in ("charged_Ah", "discharged_Ah"))
    expect.near(f"{name}: Ah in against the cycler's counter", charged, theirs_in, 0.03 * theirs_in)
    expect.near(f"{name}: Ah out against the cycler's counter", discharged, theirs_out, 0.03 * theirs_out)
    net = theirs_in - theirs_out
    expect.near(f"{name}: net Ah against the cycler's counters", charged - discharged, net, 0.005 * abs(net))


def drive_in_the_cold(expect):
    data = rows("drive-minus5C.csv.gz")
    path = scratch("drive.log")
    frames = write_log(path, data, -5.0)
    counters(expect, "drive at -5 °C", path, data)
    limit = plating_limit(-5.0)
    expect.near("plating limit at -5 °C, in C", limit, 0.190, 0.0005)
    # What the limits demand of this run, from the samples alone: two readings 10 s apart above twice the limit.
    urgent = [spell for spell in spells(data, 2 * limit) if spell[0] >= 10 and spell[1] >= 2]
    expect.that("pulses that charge it cold for 10 s above twice the limit", len(urgent) == 17, len(urgent))
    expect.that("no minute of discharge above its rating", highest_rms(data, 60) < 2.0, highest_rms(data, 60))
    verdict = judge(path)
    expect.same("drive at -5 °C: findings", found(verdict), [("cold-charge", "urgent")])
    expect.same("drive at -5 °C: verdict", verdict["verdict"]["level"], "urgent")
    expect.same("drive at -5 °C: frames read", verdict["input"]["frames"], frames)
    expect.same("drive at -5 °C: nothing rejected", sum(verdict["input"]["rejected"].values()), 0)
    expect.same("drive at -5 °C: nothing lost", verdict["input"]["lost"], 0)
    for finding in verdict["findings"]:
        evidence = finding["evidence"]
        peak = max(row["current_A"] for row in data) * PARALLEL
        expect.near("drive at -5 °C: peak current of the finding", evidence.get("peak_a"), peak, 0.01)
        expect.near("drive at -5 °C: coldest", evidence.get("lowest_degc"), -5.0, 0.011)


def slow_charge_in_the_cold(expect):
    data = rows("slow-charge-minus5C.csv.gz")
    path = scratch("slow.log")
    write_log(path, data, -5.0)
    counters(expect, "slow charge at -5 °C", path, data)
    # Far under the plating limit, but below 0 °C the sheet's limit is nothing: a notice after 10 min, no more.
    expect.same("slow charge: never above the plating limit", spells(data, plating_limit(-5.0)), [])
    longest = max(spells(data, 0.02), default=(0, 0))[0]
    expect.that("slow charge: above the dead-band for hours", longest > 3600, longest)
    verdict = judge(path)
    cold = [pair for pair in found(verdict) if pair[0] == "cold-charge"]
    expect.same("slow charge at -5 °C: cold-charge", cold, [("cold-charge", "notice")])


def charge_and_capacity(expect):
    """Filled at 1C with its taper, then drawn by a driving profile down to 3.19 V at rest: what the engine has counted
    against the cycler's counters. The cell took 2.42 Ah, and holds 2.45 Ah by the slow charge."""
    filled, drawn = rows("charge-1C.csv.gz"), rows("drive-25C.csv.gz")
    gap = 60.0
    end = filled[-1]["time_s"] + gap
    joined = filled + [{**row, "time_s": row["time_s"] + end, "surface_degC": 25.0} for row in drawn]
    holds = rows("slow-charge-minus5C.csv.gz")[-1]["charged_Ah"] * PARALLEL
    path = scratch("both.log")
    write_log(path, joined, 25.0, capacity=round(holds, 1))
    verdict = judge(path)
    net = (drawn[-1]["discharged_Ah"] - drawn[-1]["charged_Ah"]) * PARALLEL
    left = 100 * (1 - net / holds)
    estimate = lambda name: (lambda row: (row["value"], *(row["bounds"] or (None, None))))(verdict["estimates"][name][0])
    soc, low, high = estimate("soc_percent")
    print(f"  state of charge {soc} [{low}, {high}], by the counters {left:.2f} %")
    expect.that("state of charge at the end lies within its bounds", low is not None and low <= left <= high, (low, left, high))
    expect.near("state of charge at the end, by the counters", soc, left, 2.0)
    # Both directions, counted from the start of the log: the resolution of a second sees the edges of pulses coarsely.
    for name, column in (("charged_ah", "charged_Ah"), ("drawn_ah", "discharged_Ah")):
        theirs = (filled[-1][column] + drawn[-1][column]) * PARALLEL
        value, low, high = estimate(name)
        print(f"  {name} {value} [{low}, {high}], by the counters {theirs:.2f}")
        expect.near(f"{name} against the cycler's counter", value, theirs, 0.03 * theirs)
    # 87.7 Ah of 98 without the lower knee: a bound, no more than what the cell holds and little less than what was drawn.
    value, low, high = estimate("capacity_ah")
    print(f"  capacity {value} [{low}, {high}], drawn {net:.2f}, holds {holds:.2f}")
    expect.that("capacity is only a bound", value is None and low is not None and high is None, (value, low, high))
    expect.that("and lies under what the cell holds", low is not None and low <= holds, (low, holds))
    expect.near("and near what was drawn", low, net, 0.04 * net)


expect = Expect()
charge_and_capacity(expect)
drive_in_the_cold(expect)
slow_charge_in_the_cold(expect)
expect.close()
