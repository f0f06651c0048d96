"""How packs in parallel share a current, by Kirchhoff's laws, with cells that our simulator did not make.

Every pack is a string of PyBaMM's cells (series.py names model, parameters and curve) behind a resistance of its own. At
every step the currents are those at which all packs and their links meet at one voltage and add up to the bank's; the
shares are then summed here. Four packs on two bars: the nodes are solved as equations, for both bars taken off at one end
and diagonally, which is a ladder of resistors as any textbook of circuits has it.
"""

import numpy as np
from bank_log import START, Pack, judge
from expect import Expect
from own_format import Sender
from series import String, root

STEP = 30
MOVED = 0.2  # a share is taken over so much of the bank's capacity that moved one way


class Two:
    """Two packs of 100 and 200 Ah behind so many milliohms."""

    def __init__(self, soc, milliohms, sizes=(100.0, 200.0)):
        self.packs = [String([soc[k]] * 4, capacity=sizes[k]) for k in (0, 1)]
        self.ohms, self.sizes = [1e-3 * one for one in milliohms], sizes
        self.amps, self.volts = [], []

    def go(self, hours, amps):
        for _ in range(round(hours * 3600 / STEP)):
            first, second = self.packs
            first.look(STEP)
            second.look(STEP)
            apart = lambda one: (
                first.at(one).sum() + self.ohms[0] * one - second.at(amps - one).sum() - self.ohms[1] * (amps - one)
            )
            one = root(apart, -300.0, 300.0)
            self.amps.append((one, amps - one))
            self.volts.append((first.take(one), second.take(amps - one)))
        return self

    def judged(self):
        packs = [Pack(k, capacity=self.sizes[k], seed=5 + k) for k in (0, 1)]
        return judge("sharing.log", bank_log(packs, self.amps, self.volts))

    def shares(self, sign):
        """Of the first pack, %, over each whole stretch."""
        moved, shares = np.zeros(2), []
        for pair in self.amps:
            if sum(pair) * sign > 0.05 * sum(self.sizes):
                moved += np.array(pair) * STEP / 3600
            if abs(moved.sum()) >= MOVED * sum(self.sizes):
                shares.append(100 * moved[0] / moved.sum())
                moved = np.zeros(2)
        return shares


def bank_log(packs, amps, volts):
    bank, log = Sender(16), []
    for k, (flows, cells) in enumerate(zip(amps, volts)):
        second = k * STEP
        log.append(bank.hello(START + second) + bank.packs(START + second, len(packs)))
        log += [pack.set(second, *one) for pack, *one in zip(packs, flows, cells)]
    return log


def unlike(expect, milliohms, worst):
    bank = Two((0.5, 0.5), milliohms).go(2.2, 60.0).go(0.2, 0.0).go(2.5, -60.0).go(0.2, 0.0)
    verdict = bank.judged()
    name = f"100 Ah behind {milliohms[0]} mΩ, 200 Ah behind {milliohms[1]} mΩ"
    for what, sign in (("share_charge_percent", 1), ("share_discharge_percent", -1)):
        found, truth = [verdict.row(what, pack)[0] for pack in (1, 2)], bank.shares(sign)[-1]
        print(f"  {name}: {what}: {found}, truth {truth:.2f} and {100 - truth:.2f}")
        # Where a stretch begins and ends may differ by a set.
        for ours, theirs in zip(found, (truth, 100 - truth)):
            expect.near(f"{name}: {what}", ours, theirs, 0.5)
    points = max(abs(share - 100 / 3) for sign in (1, -1) for share in bank.shares(sign))
    found = [severity for _, _, severity in verdict.told("unequal-sharing")]
    print(f"  {name}: {points:.1f} points off at most: {found}")
    expect.same(f"{name}: told from 15 points on, a warning from 30", found, [worst] * 2 if worst else [])
    level = "warning" if points > 30 else "notice" if points > 15 else None
    expect.same(f"{name}: and so many points there are", worst, level)


def fighting(expect, apart, told):
    """Nothing is drawn, and the first pack holds more than the second."""
    bank = Two((0.55 + apart, 0.55), (2.0, 1.0), sizes=(100.0, 100.0)).go(2.0, 0.0)
    rates = [abs(one) / 100 for one, _ in bank.amps]
    minutes = sum(rate > 0.05 for rate in rates) * STEP / 60
    verdict = bank.judged()
    name = f"{100 * apart:.0f} points apart"
    print(f"  {name}: for {minutes:.0f} minutes more than 0.05C from pack to pack")
    expect.same(f"{name}: half an hour of it or not", minutes > 30, told)
    expect.same(f"{name}: told", bool(verdict.told("unequal-sharing")), told)


def ladder(diagonal, packs=4, own=10.0, link=0.6):
    """Shares of the packs, %: nodes along the plus and the minus bar, conductances between them, 100 A drawn."""
    count = 2 * packs
    laws, flows = np.zeros((count, count)), np.zeros(count)

    def joined(a, b, milliohms):
        for one, other in ((a, b), (b, a)):
            laws[one, one] += 1 / milliohms
            laws[one, other] -= 1 / milliohms

    for k in range(packs - 1):
        joined(k, k + 1, link)
        joined(packs + k, packs + k + 1, link)
    for k in range(packs):  # a pack: its voltage and its resistance
        joined(k, packs + k, own)
        flows[k] += 13_200.0 / own
        flows[packs + k] -= 13_200.0 / own
    flows[0] -= 100.0
    minus = count - 1 if diagonal else packs
    flows[minus] += 100.0
    laws[packs, :], flows[packs] = 0.0, 0.0  # one node is where voltages count from
    laws[packs, packs] = 1.0
    volts = np.linalg.solve(laws, flows)  # mV
    return (13_200.0 - (volts[:packs] - volts[packs:])) / own


def bars(expect):
    """DOMAIN's worked shares are these; the engine is shown an hour of them."""
    for diagonal, worked in ((False, (34, 26, 21, 19)), (True, (26, 24, 24, 26))):
        amps = ladder(diagonal)
        name = f"four packs, {'diagonal' if diagonal else 'one end'}"
        for found, figure in zip(amps, worked):
            expect.near(f"{name}: share by Kirchhoff", found, figure, 0.5)
        strings = [String([0.7] * 4) for _ in range(4)]
        flows, volts = [], []
        for _ in range(3600 // STEP):
            flows.append([-one for one in amps])
            volts.append([string.go(-one, STEP) for string, one in zip(strings, amps)])
        verdict = judge("bars.log", bank_log([Pack(k) for k in range(4)], flows, volts))
        found = [verdict.row("share_discharge_percent", pack)[0] for pack in range(1, 5)]
        print(f"  {name}: {found}, by Kirchhoff {np.round(amps, 2).tolist()}")
        for ours, theirs in zip(found, amps):
            expect.near(f"{name}: share_discharge_percent", ours, theirs, 0.05)
        expect.same(f"{name}: within 15 points of a quarter", verdict.told("unequal-sharing"), [])


expect = Expect()
unlike(expect, (2.0, 1.0), None)
unlike(expect, (1.0, 4.0), "notice")
unlike(expect, (1.0, 10.0), "warning")
fighting(expect, 0.02, False)
fighting(expect, 0.3, True)
bars(expect)
expect.close()
