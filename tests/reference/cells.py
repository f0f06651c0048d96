"""Cells in series that our simulator did not make: PyBaMM's single-particle model with a measured open-circuit curve.

Parameters of an LFP cell by Prada 2013 as PyBaMM holds them (Sulzer 2021, 10.5334/jors.309); its own open-circuit
curve sags 30 to 90 mV below measured cells (see check_curves.py), so that the positive electrode's is replaced by what
makes the cell's the closed form of a measured 3 Ah LFP 26650 (Naumann, thesis, TUM 2018, as SimSES holds it, Moeller
2022, 10.1016/j.est.2021.103743). Neither engine nor simulator rests on that curve.
"""

import math

import numpy as np
import pybamm

CAPACITY = 100.0  # Ah of the pack; its cell is many cells of the parameter set in parallel
CONTACT = 0.6  # mΩ of the pack's cell


def open_circuit(s):
    """Volts at a state of charge; numbers and PyBaMM's expressions alike."""
    step = lambda a, b: 1 / (1 + np.exp(a * (s + b)))
    return (
        2.0020 - 3.3160 * step(-116.2064, 0.1572) + 4.9996 * step(-22.4512, 0.0944)
        - 0.4574 * step(358.9072, -1) - 1.3646 * step(499.9994, 0) + 0.1251 * s
    )  # fmt: skip


def parameters():
    """PyBaMM's parameter set with that open-circuit curve, and the ends of its electrodes' range: negative empty and
    full, positive full and empty."""
    values = pybamm.ParameterValues("Prada2013")
    x0, x1, y1, y0 = pybamm.lithium_ion.ElectrodeSOHSolver(values).get_min_max_stoichiometries()
    negative = values["Negative electrode OCP [V]"]

    def positive(sto):
        s = (sto - y0) / (y1 - y0)
        return open_circuit(s) + negative(x0 + s * (x1 - x0))

    values["Positive electrode OCP [V]"] = positive
    values["Upper voltage cut-off [V]"], values["Lower voltage cut-off [V]"] = 6.0, 0.5
    return values, (x0, x1, y1, y0)


def simulation(values, current, contact):
    """A cell of these parameters under a current in A (positive discharging), with a contact resistance in ohm."""
    values["Current function [A]"], values["Contact resistance [Ohm]"] = current, contact
    model = pybamm.lithium_ion.SPM({"contact resistance": "true"})
    return pybamm.Simulation(model, parameter_values=values, solver=pybamm.IDAKLUSolver())


class Cell:
    """A cell of `capacity` (1: that of the pack) at state of charge `soc`."""

    def __init__(self, soc, capacity=1.0):
        self.soc, self.capacity = soc, capacity

    def run(self, times, amps, connection=0.0):
        """Volts and state of charge at each time, under the pack's current in A (positive charging, straight between
        the times); the connection in mΩ is inside of the measured voltage."""
        values, (x0, x1, y1, y0) = parameters()
        holds = ah_between(values, x0, x1)
        for side, sto in (("negative", x0 + self.soc * (x1 - x0)), ("positive", y0 + self.soc * (y1 - y0))):
            most = values[f"Maximum concentration in {side} electrode [mol.m-3]"]
            values[f"Initial concentration in {side} electrode [mol.m-3]"] = sto * most
        scale = holds / (CAPACITY * self.capacity)  # amperes of the parameter set's cell for one of the pack
        current = pybamm.Interpolant(times, -amps * scale, pybamm.t)
        contact = (CONTACT / self.capacity + connection) * 1e-3 / scale
        solution = simulation(values, current, contact).solve(times)
        if solution.t[-1] < times[-1] - 1:
            raise SystemExit(f"PyBaMM ended after {solution.t[-1]:.0f} of {times[-1]:.0f} s: {solution.termination}")
        hours = np.diff(times) / 3600
        charged = np.concatenate([[0], np.cumsum((amps[1:] + amps[:-1]) / 2 * hours)])
        return solution["Terminal voltage [V]"](times), self.soc + charged / (CAPACITY * self.capacity)


def ah_between(values, x0, x1):
    """Ah of the parameter set's cell over the range of its negative electrode."""
    volume = (
        values["Negative electrode thickness [m]"] * values["Electrode height [m]"] * values["Electrode width [m]"]
        * values["Number of electrodes connected in parallel to make a cell"]
    )  # fmt: skip
    active = values["Negative electrode active material volume fraction"]
    most = values["Maximum concentration in negative electrode [mol.m-3]"]
    return float(96485.33212 * active * volume * most * (x1 - x0) / 3600)


class Profile:
    """A current over time, stretch by stretch."""

    def __init__(self, step):
        self.step, self.amps = step, []

    def hold(self, hours, amps):
        self.amps += [amps] * round(hours * 3600 / self.step)
        return self

    def taper(self, hours, amps, minutes):
        """Falls off to 1/e in so many minutes."""
        count = round(hours * 3600 / self.step)
        self.amps += [amps * math.exp(-k * self.step / 60 / minutes) for k in range(count)]
        return self

    @property
    def times(self):
        return np.arange(len(self.amps)) * float(self.step)
