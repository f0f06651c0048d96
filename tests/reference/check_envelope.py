"""The serial envelope against the PyPI packages `crccheck` (CRC-16/IBM-3740) and `cobs`.

The record is put together here from docs/frame-format.md: kind, length, id, data, checksum, then COBS and a zero.
"""

import random

from cobs import cobs
from crccheck.crc import Crc16Ibm3740
from expect import PRINTER, Expect, run

KINDS = ("data", "remote", "error", "fd")
FD_LENGTHS = [*range(9), 12, 16, 20, 24, 32, 48, 64]


def record(kind, extended, flags, identifier, length, data):
    plain = bytes([KINDS.index(kind) | (4 if extended else 0) | flags << 4, length]) + identifier.to_bytes(4, "little") + data
    return cobs.encode(plain + Crc16Ibm3740.calc(plain).to_bytes(2, "little")) + b"\0"


def random_frame(chance):
    """A line of the text log and the record that it must become."""
    kind = chance.choice(KINDS)
    extended = chance.random() < 0.7
    identifier = chance.getrandbits(29 if extended else 11)
    flags = chance.choice([1, 2, 4, 5, 7]) if kind == "fd" else 0
    length = chance.choice(FD_LENGTHS) if kind == "fd" else chance.randrange(9)
    # Zeros are what COBS is about: many of them.
    data = bytes(chance.choice([0, 0, chance.getrandbits(8)]) for _ in range(0 if kind == "remote" else length))
    digits = f"{identifier:08X}" if extended else f"{identifier:03X}"
    if kind == "error":
        # An error frame's id holds the error classes; the log writes it with the error bit, always eight digits.
        extended = True
        digits = f"{identifier | 0x20000000:08X}"
    text = {"remote": f"R{length}" if length else "R", "fd": f"#{flags:X}{data.hex().upper()}"}.get(kind, data.hex().upper())
    return f"(0000000000.000000000) can0 {digits}#{text}", record(kind, extended, flags, identifier, length, data)


expect = Expect()
expect.same("check value of the CRC in the outside library", Crc16Ibm3740.calc(b"123456789"), 0x29B1)
chance = random.Random(20260115)
frames = [random_frame(chance) for _ in range(3000)]
text = "".join(line + "\n" for line, _ in frames)
ours = run("envelope", program=PRINTER, given=text.strip("\n")).split()
expect.same("records", len(ours), len(frames))
for (line, theirs), found in zip(frames, ours):
    expect.same(f"record of {line}", found, theirs.hex())
back = run("open", program=PRINTER, given="".join(theirs.hex() + "\n" for _, theirs in frames)).split("\n")
for (line, _), found in zip(frames, back):
    expect.same("a record of the outside library, opened", found, line)
spoiled = [bytes([theirs[0], theirs[1] ^ 0x40, *theirs[2:]]) for _, theirs in frames if theirs[1] != 0x40]
refused = run("open", program=PRINTER, given="".join(bad.hex() + "\n" for bad in spoiled)).split("\n")
expect.that("a spoiled record is never a frame", not any(line.startswith("(") for line in refused))
expect.close()
