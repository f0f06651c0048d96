"""How a pack follows the air around it, and how fast a heater warms it, against Newton's law of cooling.

A pack as one body: C dT/dt = G (air - T) + heat (lumped capacitance: Incropera & DeWitt, Fundamentals of Heat and Mass
Transfer, ch. 5), integrated here by SciPy (Virtanen 2020, 10.1038/s41592-019-0686-2); the air has a day and a weather of
its own, loads heat the cells by their resistance for two hours a day. The truth is C/G as put in, or the moment at which
the integrated temperature is there.
"""

import math

import numpy as np
from bank_log import START, Pack, holds, judge
from expect import Expect
from own_format import Sender
from scipy.integrate import solve_ivp

STEP = 60
WATT_HOURS = 11.0 / 3.6  # Wh per kelvin: 11 kg of cells at 1 kJ/(kg K)
OHMS = 4 * 1.5e-3
TENTHS = [(0x63, (16, 16, 0.001, 0, 0.1))]  # resolution of the sensors, as the pack describes it
ROLES = ((1, 2), (5, None))  # one sensor on a cell, one in the air


def air(hour):
    """°C: a day, and weather that comes and goes."""
    return 9 + 6 * math.sin(2 * math.pi * (hour - 9) / 24) + 4 * math.sin(2 * math.pi * hour / 83) + math.sin(2 * math.pi * hour / 7.1)


def load(hour):
    return -40.0 if 18 <= hour % 24 < 20 else -0.2


def temperatures(hours, start, heat, loss, around):
    """°C each minute; `heat` in W by hour and temperature, `loss` in W/K."""
    change = lambda hour, t: (loss * (around(hour) - t) + heat(hour)) / WATT_HOURS
    times = np.arange(0, hours + 1e-9, STEP / 3600)
    return solve_ivp(change, (0, times[-1]), [start], t_eval=times, max_step=0.1, rtol=1e-7, atol=1e-7).y[0]


def coarse(celsius, grain):
    return round(round(celsius / grain) * grain, 2)


def constant(expect, hours, grain, widest):
    """Five days in changing air; `widest` as a share of the constant."""
    loss = WATT_HOURS / hours
    own = temperatures(5 * 24, 9.0, lambda hour: load(hour) ** 2 * OHMS, loss, air)
    pack = Pack(roles=ROLES, described=[(0x63, (16, 16, 0.001, 0, grain))])
    log = []
    for minute, celsius in enumerate(own):
        hour = minute / 60
        read = [coarse(celsius, grain), coarse(air(hour), grain)]
        log.append(pack.set(minute * STEP, load(hour), [3.30 + 0.0015 * load(hour)] * 4, celsius=read))
    row = judge("air.log", log).row("thermal_time_constant_h")
    name = f"{hours} h, sensors to {grain} K"
    holds(expect, f"{name}: thermal_time_constant_h", row, hours, widest * hours)


def source(sender, time, offer):
    """A shore charger that could give so many amperes."""
    return sender.fields(time, 0x48, (0, 4, 1, 0, 2), (4, 4, 1, 0, 1), (16, 16, 0.1, -2000, 0.0), (32, 16, 0.1, 0, offer))


def heated(expect, watts, loss):
    """From -10 °C in air of -10 °C."""
    own = temperatures(1.3, -10.0, lambda hour: watts, loss, lambda hour: -10.0)
    pack = Pack(roles=ROLES, described=TENTHS)
    log = [pack.set(k * STEP, 0.0, [3.3] * 4, celsius=[coarse(one, 0.1), -10.0], heater=1) for k, one in enumerate(own)]
    verdict = judge("heater.log", log)
    name = f"a heater of {watts} W, {loss} W/K lost"
    # The first whole hour with the heater on.
    holds(expect, f"{name}: heater_rise_k_per_h", verdict.row("heater_rise_k_per_h"), own[60] - own[0], 0.21)
    told = [severity for _, _, severity in verdict.told("heater-weak")]
    expect.same(f"{name}: told when it warms by less than 2 K an hour", told, ["notice"] * int(own[60] - own[0] < 2.0))


def warm_enough(expect, hours, offer, needed, heater):
    """Hours until a cold pack takes what is offered: after five days that show its constant, in the morning, in warmer air; or with its
    heater on, from the last whole hour of it. `needed`: from so many °C on the charge is allowed, see below."""
    loss = WATT_HOURS / hours
    own = temperatures(5 * 24 + 8, 9.0, lambda hour: load(hour) ** 2 * OHMS, loss, air)
    pack, bank = Pack(roles=ROLES, described=TENTHS), Sender(16)
    log = []
    for minute, celsius in enumerate(own):
        hour = minute / 60
        log.append(pack.set(minute * STEP, load(hour), [3.3] * 4, celsius=[coarse(celsius, 0.1), coarse(air(hour), 0.1)]))
    around, watts = (0.0, 10.0) if heater else (25.0, 0.0)
    after = temperatures(40.0, own[-1], lambda hour: watts, loss, lambda hour: around)
    first = 70 if heater else 10  # minutes of it that are in the log
    for minute, celsius in enumerate(after[:first]):
        second = len(own) * STEP + minute * STEP
        log.append(bank.hello(START + second) + source(bank, START + second, offer))
        log.append(pack.set(second, 0.0, [3.3] * 4, celsius=[coarse(celsius, 0.1), around], heater=int(heater)))
    verdict = judge("warm.log", log)
    row = verdict.row("warm_enough_h")
    truth = float(np.interp(needed, after[first - 1 :], np.arange(len(after) - first + 1) / 60))
    name = f"{offer} A on offer at {after[first - 1]:.1f} °C, {'heater' if heater else 'warm air'}"
    print(f"  {name}: warm enough in {row[0]} h, truth {truth:.2f}")
    # Counted to the next whole degree, and from the last hour's pace: a tenth of it, and a degree's time.
    degree = truth / (needed - after[first - 1])
    expect.near(f"{name}: warm_enough_h", row[0], truth, 0.1 * truth + degree)


def worked(expect):
    """The example that the engine's own unit test holds, by integration: -10 to 5 °C by 60 W against 1.5 W/K."""
    own = temperatures(2.0, -10.0, lambda hour: 60.0, 1.5, lambda hour: -10.0)
    hours = float(np.interp(5.0, own, np.arange(len(own)) * STEP / 3600))
    expect.near("hours from -10 to 5 °C at 60 W", hours, 0.96, 0.01)


expect = Expect()
constant(expect, 3.0, 0.1, 0.25)
constant(expect, 8.0, 0.1, 0.25)
constant(expect, 20.0, 0.1, 0.5)
constant(expect, 8.0, 1.0, 0.6)
constant(expect, 40.0, 1.0, 1.5)  # a degree is much of what such a pack moves in half an hour
heated(expect, 60.0, 1.5)
heated(expect, 4.0, 1.5)
# The sheet's limit: 0.16C at 10 °C and 0.33C at 15 °C, linear between; the pack is one of 100 Ah.
warm_enough(expect, 8.0, 33.0, 15.0, heater=False)
warm_enough(expect, 8.0, 33.0, 15.0, heater=True)
worked(expect)
expect.close()
