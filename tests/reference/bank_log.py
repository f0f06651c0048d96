"""Logs of packs that send the open frame format, set by set, and what `check` says of them."""

import json

import numpy as np
from expect import run, scratch
from own_format import MISSING, Sender

START = 1_768_435_200.0  # 2026-01-15T00:00:00Z: a date of our own
DESCRIBED = 600  # seconds between descriptions


class Pack:
    """A pack of four cells in a log. Cells are read to a millivolt, with noise."""

    def __init__(self, index=0, capacity=100.0, discharge=None, roles=((1, 2),), described=(), volts_step=0.001, seed=5):
        self.sender, self.capacity, self.discharge = Sender(index), capacity, discharge or capacity
        self.roles, self.described, self.volts_step = list(roles), described, volts_step
        self.noise, self.next = np.random.default_rng(seed), 0.0

    def set(self, second, amps, volts, celsius=(25.0,), bus=MISSING, paths=(1, 1), heater=0):
        """Lines of one set."""
        sender, time = self.sender, START + second
        lines = [sender.hello(time), sender.beat(time, second)]
        if second >= self.next:
            self.next = second + DESCRIBED
            lines.append(sender.ratings(time, 4, self.capacity, discharge=self.discharge))
            lines.append(sender.sensors(time, self.roles))
            lines.append(sender.path(time, heater_fitted=0))
            lines += [sender.fields(time, group, *fields) for group, *fields in self.described]
        read = np.asarray(volts) + self.noise.normal(0, 0.4e-3, 4)
        read = [round(float(one), 4) for one in np.round(read / self.volts_step) * self.volts_step]
        lines.append(sender.cells(time, 0, read))
        lines.append(sender.temperatures(time, celsius))
        lines.append(sender.power(time, amps, sum(read), bus))
        lines.append(sender.state(time, *paths, heater))
        return "".join(lines)


def judge(name, lines):
    """What `check` says of a log."""
    path = scratch(name)
    with open(path, "w", encoding="ascii") as log:
        log.writelines(lines)
    verdict = Verdict(json.loads(run("check", "--format", "json", path, exits=(0, 1, 3))))
    path.unlink()
    return verdict


class Verdict:
    """Estimates and findings."""

    def __init__(self, document):
        self.document = document

    def row(self, name, pack=1, cell=None, sensor=None):
        """Value and bounds; None where the estimate is not listed."""
        for row in self.document["estimates"].get(name, []):
            if (row["pack"], row["cell"], row["sensor"]) == (pack, cell, sensor):
                return (row["value"], *(row["bounds"] or (None, None)))
        return None

    def findings(self, code):
        return [finding for finding in self.document["findings"] if finding["code"] == code]

    def told(self, code):
        return [(finding["pack"], finding["cell"], finding["severity"]) for finding in self.findings(code)]


def holds(expect, what, row, truth, widest):
    """The truth lies within the bounds, both of them known, and these are no further apart than `widest`."""
    value, low, high = row or (None, None, None)
    shown = lambda number: "–" if number is None else f"{number:.4g}"
    print(f"  {what}: {shown(value)} [{shown(low)}, {shown(high)}], truth {truth:.4g}")
    bounded = None not in (value, low, high)
    expect.that(f"{what}: the truth lies within the bounds", bounded and low <= truth <= high, (row, truth))
    expect.that(f"{what}: the bounds are no wider than {widest:.3g}", bounded and high - low <= widest, row)
