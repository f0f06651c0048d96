"""Cells in series under a charger and loads, step by step: PyBaMM's single-particle model, not our simulator.

PyBaMM solves a cell whose current is given beforehand; a charger that holds the voltage of a whole string, or packs in
parallel, need the current of each moment. So PyBaMM's own discretised equations are taken (Sulzer 2021,
10.5334/jors.309; parameters and open-circuit curve as cells.py names them): its diffusivities are constant, so that the
states obey x' = Ax + bI, which a matrix exponential solves exactly while the current stands (Moler & Van Loan 2003,
10.1137/S00361445024180); the voltages are PyBaMM's function of state and current. `agrees` holds that against PyBaMM's
own solver.
"""

import copy
import functools

import casadi
import numpy as np
import pybamm
from cells import CAPACITY, CONTACT, ah_between, parameters, simulation
from scipy.linalg import expm

# Sizes of the particles, as multiples of the parameter set's, so that the cell does at both ends as cells do: held at
# 3.60 V its current falls from 1C as slowly as a measured cell's (`tapers`), and at C/2 it gives 2 to 3 % less than slowly.
POSITIVE, NEGATIVE = 2.0, 0.5
KEPT_OUT = 2  # PyBaMM's counters of charge stand before the concentrations


def simulated(current, contact):
    """PyBaMM's simulation of a cell with particles of those sizes; its parameters, and the ends of its electrodes' range."""
    values, ends = parameters()
    values["Positive particle radius [m]"] *= POSITIVE
    values["Negative particle radius [m]"] *= NEGATIVE
    return simulation(values, current, contact), values, ends


class Equations:
    """What PyBaMM makes of the parameter set: states, their change, and the voltage."""

    def __init__(self):
        built, values, (x0, x1, y1, y0) = simulated("[input]", "[input]")
        self.holds = ah_between(values, x0, x1)
        built.build()
        objects = built.built_model.export_casadi_objects(
            ["Terminal voltage [V]"], input_parameter_order=["Current function [A]", "Contact resistance [Ohm]"]
        )
        x, p = objects["x"], objects["inputs"]
        slope = casadi.Function("slope", [x, p], [casadi.jacobian(objects["rhs"], x), casadi.jacobian(objects["rhs"], p)])
        start = casadi.Function("start", [p], [objects["x0"]])([0, 0]).full().ravel()
        a, b = (part.full()[KEPT_OUT:] for part in slope(start, [0, 0]))
        other, same = (part.full()[KEPT_OUT:] for part in slope(0.9 * start, [3, 0.001]))
        if np.abs(a - other).max() > 1e-12 * np.abs(a).max() or np.abs(b - same).max() > 1e-12 * np.abs(b).max():
            raise SystemExit("PyBaMM's equations are no longer linear in the concentrations and the current")
        self.began = start[KEPT_OUT:]
        self.a, self.b = a[:, KEPT_OUT:], b[:, 0]
        self._volts = casadi.Function("volts", [x, p], [objects["variables"]["Terminal voltage [V]"]])
        half = len(self.b) // 2
        most = [values[f"Maximum concentration in {side} electrode [mol.m-3]"] for side in ("negative", "positive")]
        level = lambda x, y: np.repeat([x * most[0], y * most[1]], half) / self.scale(built, half)
        self.empty, self.full = level(x0, y0), level(x1, y1)
        self._maps, self._steps = {}, {}

    @staticmethod
    def scale(built, half):
        """PyBaMM keeps its states in their own scale."""
        return np.repeat([float(v.scale.value) for v in built.built_model.rhs if "particle concentration" in v.name], half)

    def start(self, soc):
        return self.empty + soc * (self.full - self.empty)

    def step(self, seconds):
        """What is left of the states after so long, and what a current of 1 A adds."""
        if seconds not in self._steps:
            n = len(self.b)
            both = np.zeros((n + 1, n + 1))
            both[:n, :n], both[:n, n] = self.a * seconds, self.b * seconds
            done = expm(both)
            self._steps[seconds] = done[:n, :n], done[:n, n]
        return self._steps[seconds]

    def volts(self, states, amps, contact):
        """Terminal voltage of each column of states."""
        n = states.shape[1]
        if n not in self._maps:
            given = np.zeros((n, len(self.b) + KEPT_OUT)), np.zeros((n, 2))
            out = np.zeros(n)
            buffer, call = self._volts.map(n).buffer()
            for place, array in enumerate(given):
                buffer.set_arg(place, memoryview(array.reshape(-1)))
            buffer.set_res(0, memoryview(out))
            self._maps[n] = given, out, buffer, call
        (x, p), out, _, call = self._maps[n]
        x[:, KEPT_OUT:], p[:, 0], p[:, 1] = states.T, amps, contact
        call()
        return out.copy()


@functools.cache
def equations():
    return Equations()


class String:
    """Cells in series: state of charge at the start, capacity (1: `capacity` Ah), connection in mΩ (inside of the
    measured voltage) and leak in A of each; `lost` is the share of the charge put in that no cell gets."""

    def __init__(self, soc, sizes=None, connections=None, leaks=None, lost=0.0, capacity=CAPACITY):
        of = lambda given, usual: np.array(given if given is not None else [usual] * len(soc), dtype=float)
        self.sizes, self.leaks, self.lost = of(sizes, 1.0) * capacity, of(leaks, 0.0), lost
        self.charge = np.array(soc, dtype=float) * self.sizes  # Ah in each cell
        self.one = equations()
        self.scale = self.one.holds / self.sizes  # amperes of the parameter set's cell for one of ours
        own = CONTACT * CAPACITY / self.sizes + of(connections, 0.0)
        self.contact = own * 1e-3 / self.scale
        self.states = np.array([self.one.start(one) for one in soc]).T
        self.left, self.gain = self.states, None

    def copy(self):
        """Another string in the same state."""
        return copy.deepcopy(self, {id(self.one): self.one})

    def look(self, seconds):
        """Begins a step: what of the states is left after it."""
        keeps, self.gain = self.one.step(seconds)
        self.left, self.seconds = keeps @ self.states, seconds

    def flows(self, amps):
        """Current into each cell, A."""
        return (amps * (1 - self.lost) if amps > 0 else amps) - self.leaks

    def at(self, amps):
        """Volts of each cell at the end of the step under a current, positive charging."""
        inner = -self.flows(amps) * self.scale
        return self.one.volts(self.left + np.outer(self.gain, inner), -amps * self.scale, self.contact)

    def take(self, amps):
        """Ends the step under this current; volts of each cell."""
        flows = self.flows(amps)
        self.states = self.left + np.outer(self.gain, -flows * self.scale)
        self.charge += flows * self.seconds / 3600
        return self.one.volts(self.states, -amps * self.scale, self.contact)

    def go(self, amps, seconds):
        self.look(seconds)
        return self.take(amps)

    def hold(self, volts, most, seconds, least=0.0):
        """A charger that gives at most `most` A and holds the string at `volts`: the current, and volts of each cell."""
        self.look(seconds)
        amps = root(lambda amps: self.at(amps).sum() - volts, least, most)
        return amps, self.take(amps)


def root(beyond, least, most, close=1e-4):
    """Where a rising function is 0, or the end that is nearer to that: Illinois' method (Dowell & Jarratt 1971,
    10.1007/BF01934364)."""
    low, high = least, most
    at_high = beyond(high)
    if at_high <= 0:
        return high
    at_low = beyond(low)
    if at_low >= 0:
        return low
    side = 0
    for _ in range(60):
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        at = beyond(middle)
        if abs(at) < close or high - low < 1e-6:
            return middle
        if at > 0:
            high, at_high = middle, at
            at_low, side = (at_low / 2 if side > 0 else at_low), 1
        else:
            low, at_low = middle, at
            at_high, side = (at_high / 2 if side < 0 else at_high), -1
    return middle


def agrees(expect):
    """The steps here against PyBaMM's own solver, from its own starting point: a load, a charge, a rest."""
    step, contact = 60, 0.01
    amps = np.repeat([-0.8, 0.5, 0.0], 60)
    times = np.arange(1, len(amps) + 1) * float(step)
    edges = np.stack([times - step + 1e-3, times], axis=1).ravel()
    one_cell, _, _ = simulated(pybamm.Interpolant(edges, -np.repeat(amps, 2), pybamm.t), contact)
    solution = one_cell.solve(np.concatenate([[0.0], edges]))
    theirs = solution["Terminal voltage [V]"](times)
    one = equations()
    states = one.began[:, None]
    ours = []
    for current in amps:
        keeps, gain = one.step(step)
        states = keeps @ states + np.outer(gain, [-current])
        ours.append(one.volts(states, np.array([-current]), np.array([contact]))[0])
    worst = float(np.abs(np.array(ours) - theirs).max())
    print(f"  PyBaMM's equations in steps against its own solver: worst {1000 * worst:.3f} mV")
    expect.that("steps agree with PyBaMM's solver", worst < 0.5e-3, worst)


def tapers(expect):
    """The measured cell, held at 3.60 V, fell from 1C to C/20 in eight minutes: Kawakita de Souza 2021,
    doi:10.17632/p8kf893yv3.1, CC BY 4.0."""
    cell, seconds, amps = String([0.7]), 0, CAPACITY
    while amps > CAPACITY / 20:
        amps, _ = cell.hold(3.6, CAPACITY, 5)
        seconds += 5 if amps < CAPACITY else 0
    print(f"  from 1C to C/20 in {seconds / 60:.1f} minutes, the measured cell in 8")
    expect.near("minutes from 1C to C/20 at 3.60 V", seconds / 60, 8.0, 1.0)
