"""Every DBC file of cantools' own test suite, read by cantools and by `cellwright decode --dbc`.

The files come with the library's source package, which is fetched when the check runs and is not part of this project.
For every message of every file: random payloads, every number of every switch, frames that are too short or too long.
Same names, same values (relative 1e-9), same refusals. What differs all the same stands in the tables below, with why.
"""

import json
import math
import random
import subprocess
import sys
import tarfile
import warnings
from datetime import datetime, timedelta, timezone
from pathlib import Path

import cantools
from cantools.database.errors import DecodeError
from cantools.database.utils import decode_data
from expect import PROGRAM, ROOT, Expect, run, scratch

VERSION = "45.1.0"
START = datetime(2026, 1, 15, tzinfo=timezone.utc)
MICRO = timedelta(microseconds=1)

# Files that one side alone refuses: name, what our program says, and why that is right.
OURS_ALONE = {}

# What frames show differently, and how many times it did.
SWITCH = (
    "switch numbers that select nothing: cantools refuses the whole frame; the DBC description says of a multiplexed "
    "signal only that it is transferred when the switch has its number, and nothing against the signals of the frame "
    "that depend on no switch, so they are shown"
)


def suite():
    """The files, fetched once."""
    files = ROOT / f"target/reference/cantools-{VERSION}"
    if not files.is_dir():
        folder = scratch("package")
        fetch = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
        fetch += ["--no-binary", "cantools", "--dest", str(folder), f"cantools=={VERSION}"]
        subprocess.run(fetch, check=True)
        files.mkdir(parents=True)
        with tarfile.open(folder / f"cantools-{VERSION}.tar.gz") as package:
            for member in package:
                name = Path(member.name)
                if name.parent.match("tests/files/dbc") and name.suffix.lower() == ".dbc":
                    (files / name.name).write_bytes(package.extractfile(member).read())
    return sorted(files.iterdir())


def load(path):
    """What cantools makes of a file; None where it refuses it."""
    try:
        return cantools.database.load_file(path)
    except cantools.database.UnsupportedDatabaseFormatError as error:
        return str(error)


def positions(signal):
    """Bits of a signal as (byte, bit), the most significant first, counted here and nowhere else."""
    if signal.byte_order == "little_endian":
        return [divmod(bit, 8) for bit in reversed(range(signal.start, signal.start + signal.length))]
    found, byte, bit = [], *divmod(signal.start, 8)
    for _ in range(signal.length):
        found.append((byte, bit))
        byte, bit = (byte, bit - 1) if bit else (byte + 1, 7)
    return found


def put(data, signal, raw):
    """Sets the bits of a signal."""
    for place, (byte, bit) in enumerate(reversed(positions(signal))):
        data[byte] = data[byte] & ~(1 << bit) | (raw >> place & 1) << bit


def payloads(chance, message):
    """Random bytes; ends of the range; each number of each switch with those above it set; too short; too long."""
    length = message.length
    noise = lambda: bytearray(chance.getrandbits(8) for _ in range(length))
    yield from (noise() for _ in range(20))
    yield from (bytearray([fill]) * length for fill in (0, 0xFF, 0x80, 0x7F))
    by_name = {signal.name: signal for signal in message.signals}
    for signal in message.signals:
        for number in (signal.multiplexer_ids or [])[:300]:
            data, below, wanted = noise(), signal, number
            while below.multiplexer_signal is not None:
                put(data, by_name[below.multiplexer_signal], wanted)
                below = by_name[below.multiplexer_signal]
                wanted = chance.choice(below.multiplexer_ids) if below.multiplexer_ids else None
            yield data
    yield from (noise()[:short] for short in range(length))
    yield noise() + bytes(chance.getrandbits(8) for _ in range(8 if length in (0, 8) else min(8, 64 - length)))


def tolerant(message, node, data):
    """What cantools decodes, a switch number that selects nothing being no reason to refuse the rest."""
    found = decode_data(data, message.length, node["signals"], node["formats"], False, True, False, True)
    for switch, children in node["multiplexers"].items():
        if found[switch] in children:
            found.update(tolerant(message, children[found[switch]], data))
    return found


def theirs(message, data):
    """Their values, and whether they refuse for the switch; (None, False) for a frame that they refuse as too short."""
    try:
        return message.decode(data, decode_choices=False), False
    except DecodeError as error:
        if "multiplexer id" in str(error):
            return tolerant(message, message._codecs, data), True
        return None, False


def line(micros, message, data):
    """A line of the log."""
    name = f"{message.frame_id:08X}" if message.is_extended_frame else f"{message.frame_id:03X}"
    mark = "#" if len(data) <= 8 else "##1"
    return f"({START.timestamp() + micros / 1e6:.6f}) can0 {name}{mark}{data.hex().upper()}\n"


def same(ours, expected):
    """Whether a number is theirs; what is not finite is null."""
    if not math.isfinite(expected):
        return ours is None
    return ours is not None and math.isclose(ours, expected, rel_tol=1e-9, abs_tol=0.0)


def compare(expect, path, database, counted):
    """One file."""
    chance = random.Random(path.name)
    log, expected = scratch("suite.log"), []
    with log.open("w") as out:
        for message in database.messages:
            for data in payloads(chance, message):
                out.write(line(len(expected), message, bytes(data)))
                expected.append((message, bytes(data), *theirs(message, bytes(data))))
    if not expected:
        return
    printed = run("decode", "--dbc", path, "--format", "ndjson", log).splitlines()
    ours = {}
    for text in printed:
        frame = json.loads(text)
        ours[(datetime.fromisoformat(frame["time"].replace("Z", "+00:00")) - START) // MICRO] = frame
    for number, (message, data, values, by_switch) in enumerate(expected):
        what = f"{path.name} {message.name} {data.hex()}"
        frame = ours.pop(number, None)
        counted["frames"] += 1
        if values is None:
            counted["frames too short, refused by both"] += 1
            expect.that(what, frame is None, "cantools refuses, ours decodes")
            continue
        counted[SWITCH] += by_switch
        if frame is None:
            expect.that(what, False, "ours refuses, cantools decodes")
            continue
        expect.same(f"{what}: message", frame["message"], message.name)
        expect.same(f"{what}: names", sorted(frame["signals"]), sorted(values))
        counted["values"] += len(values)
        wrong = [name for name in values if not same(frame["signals"].get(name), values[name])]
        expect.that(f"{what}: values", not wrong, [(name, frame["signals"].get(name), values[name]) for name in wrong])
    expect.that(f"{path.name}: no frame but those", not ours, ours)


def refusal(path):
    """What our program says against a file; None where it takes it."""
    log = scratch("one.log")
    log.write_text("(1768435200.000000) can0 7FF#\n")
    done = subprocess.run([PROGRAM, "decode", "--dbc", path, log], capture_output=True, text=True, check=False)
    return None if done.returncode == 0 else done.stderr.strip()


warnings.simplefilter("ignore")
expect = Expect()
counted = {"files": 0, "messages": 0, "signals": 0, "frames": 0, "values": 0, "frames too short, refused by both": 0}
counted |= {"files refused by both": 0, SWITCH: 0}
files = suite()
expect.that("the suite is whole", len(files) >= 89, len(files))
for path in files:
    counted["files"] += 1
    database, ours = load(path), refusal(path)
    if isinstance(database, str):
        counted["files refused by both"] += ours is not None
        expect.that(f"{path.name}: refused by cantools ({database[:100]})", ours is not None, "ours takes it")
        if "-v" in sys.argv:
            print(f"  {path.name}: cantools: {database}\n    ours: {ours}")
        continue
    if path.name in OURS_ALONE:
        said, why = OURS_ALONE[path.name]
        expect.that(f"{path.name}: {why}", ours is not None and said in ours, ours)
        continue
    expect.that(f"{path.name}: taken", ours is None, ours)
    if ours is None:
        counted["messages"] += len(database.messages)
        counted["signals"] += sum(len(message.signals) for message in database.messages)
        compare(expect, path, database, counted)
for what, number in counted.items():
    print(f"  {number} {what}")
for name, (_, why) in OURS_ALONE.items():
    print(f"  refused by ours alone: {name}: {why}")
expect.close()
