"""What a log says of its own quality, against a log that was spoilt on purpose by a sender of our own.

Six hours of a pack, written from the open frame format alone (docs/frame-format.md): so many frames are left out, so many
lines are made unreadable, one stretch is missing. The truth is what was done.
"""

import numpy as np
from bank_log import Pack, judge
from expect import Expect

STEP = 2
HOURS = 6


def sets(hours):
    pack = Pack()
    return [pack.set(k * STEP, -1.0, [3.3] * 4) for k in range(round(hours * 3600 / STEP))]


def spoilt(expect, lost, broken, gap):
    """Frames left out anywhere but the hellos and beats, lines cut in their data, and a gap of so many seconds."""
    chance = np.random.default_rng(17)
    log = sets(HOURS)
    middle = len(log) // 2
    missing = round(gap / STEP)
    inside = "".join(log[middle : middle + missing]).count("\n")
    log = log[:middle] + log[middle + missing :]
    lines = "".join(log).splitlines(keepends=True)
    plain = [k for k, line in enumerate(lines) if 200 < k < len(lines) - 200 and "18FF00" not in line and "18FF01" not in line]
    chosen = chance.choice(plain, lost + broken, replace=False)
    for k in chosen[lost:]:
        lines[k] = lines[k][:-4] + "XY\n"
    gone = set(chosen[:lost].tolist())
    document = judge("spoilt.log", (line for k, line in enumerate(lines) if k not in gone)).document
    found = document["input"]
    name = f"{lost} lost, {broken} broken, a gap of {gap} s"
    print(f"  {name}: lost {found['lost']}, rejected {found['rejected']}, gaps {found['gaps']}; {inside} frames inside of the gap")
    expect.same(f"{name}: frames read", found["frames"], len(lines) - lost - broken)
    expect.same(f"{name}: lines refused", found["rejected"], {"bad_hex": broken} if broken else {})
    # The sender's counter shows all that it sent and that did not come: refused lines, and what it sent in the gap.
    expect.same(f"{name}: frames lost", found["lost"], lost + broken + inside)
    expect.same(f"{name}: gaps", found["gaps"], int(gap > 0))
    told = [finding["code"] for finding in document["findings"] if finding["code"] == "lossy-link"]
    share = ((lost + broken) / HOURS + inside) * HOURS / (len(lines) + inside)
    expect.same(f"{name}: told above one in a hundred of an hour's frames", bool(told), share > 0.01)


expect = Expect()
spoilt(expect, 0, 0, 0)
spoilt(expect, 150, 0, 0)
spoilt(expect, 0, 40, 0)
spoilt(expect, 0, 0, 20)
spoilt(expect, 0, 0, 600)
spoilt(expect, 1500, 100, 300)
expect.close()
