"""`fixtures/own-format.dbc` read by cantools against `cellwright decode`, and our ids against J1939.

Every signal of every frame must agree: cantools' 'not available' and 'error' are null in ours, and so is a number outside
of the signal's bounds, which cantools passes on.
"""

import json
import random
import re

import cantools
from cantools.j1939 import frame_id_pack, frame_id_unpack
from expect import ROOT, Expect, run, scratch
from own_format import Sender

START = 1_768_435_200
MASK = 0x1FFFFF00


def ids(expect, database):
    """SAE J1939-21: priority, pages, PDU format and specific, source; 65280 to 65535 is the range called proprietary B."""
    for message in database.messages:
        parts = frame_id_unpack(message.frame_id)
        name = message.name
        expect.same(f"{name}: priority", parts.priority, 6)
        expect.same(f"{name}: reserved and data page", (parts.reserved, parts.data_page), (0, 0))
        expect.same(f"{name}: proprietary B", parts.pdu_format, 0xFF)
        expect.that(f"{name}: source address", 0x80 <= parts.source_address <= 0x90, parts.source_address)
        again = frame_id_pack(6, 0, 0, 0xFF, parts.pdu_specific, parts.source_address)
        expect.same(f"{name}: packed again", again, message.frame_id)
        expect.that(f"{name}: 29 bits", message.is_extended_frame, message.frame_id)


def payloads(chance, message):
    """Random bytes, and every signal once at its special codes."""
    for _ in range(30):
        yield bytes(chance.getrandbits(8) for _ in range(8))
    yield b"\xff" * 8
    for signal in message.signals:
        for code in (0, (1 << signal.length) - 2, (1 << signal.length) - 1, (1 << signal.length) - 3):
            data = int.from_bytes(bytes(chance.getrandbits(8) for _ in range(8)), "little")
            ones = (1 << signal.length) - 1
            data = data & ~(ones << signal.start) | code << signal.start
            yield data.to_bytes(8, "little")


SUFFIX = {"V": "v", "A": "a", "degC": "degc", "Ah": "ah", "mOhm": "mohm", "K": "k", "s": "s", "fraction": "fraction"}
PARTS = {"cell_voltage": "cell{}_voltage", "cell_balancing": "cell{}_balancing", "link_resistance": "cell{}_link_resistance",
         "temperature": "sensor{}_temperature", "sensor_role": "sensor{}_role", "sensor_cell": "sensor{}_cell"}  # fmt: skip


def long_name(signal, address):
    """Name of a signal in our output, as docs/json.md tells it: whose it is, which one, what, its unit."""
    pack = f"pack{address - 0x7F}_"
    name, _, number = signal.name.rpartition("_")
    if number.isdigit() and name in PARTS:
        found = pack + PARTS[name].format(number)
    elif number.isdigit():
        found = f"source{number}_" + name.removeprefix("source_")
    elif address == 0x90:
        found = "bank_" + signal.name.removeprefix("bank_")
    else:
        found = pack + signal.name
    return f"{found}_{SUFFIX[signal.unit]}" if signal.unit else found


def theirs(message, address, data):
    """What cantools makes of it, with null where the number is none."""
    raw = message.decode(data, decode_choices=False, scaling=False)
    scaled = message.decode(data, decode_choices=False)
    found = {}
    for signal in message.signals:
        special = signal.choices and raw[signal.name] in signal.choices
        number = float(scaled[signal.name])
        inside = signal.minimum <= number <= signal.maximum
        found[long_name(signal, address)] = None if special or not inside else number
    return found


def write_log(path, database):
    chance = random.Random(11)
    expected = []
    with open(path, "w", encoding="ascii") as log:
        for sender in (0, 15, 16):
            log.write(Sender(sender).hello(START))
        number = 0
        for message in database.messages:
            if message.name == "hello":
                continue
            source = message.frame_id & 0xFF
            for data in payloads(chance, message):
                number += 1
                # The bank's frames come from the bank alone, a pack's from any pack.
                sender = source if source == 0x90 else chance.choice([0x80, 0x8F])
                frame = message.frame_id & MASK | sender
                log.write(f"({START}.{number:06d}) can0 {frame:08X}#{data.hex().upper()}\n")
                expected.append((message, f"{frame:08X}", data))
    return expected


def differs(ours, expected):
    """Signals that differ; ours may name no signal that the DBC does not have, nor leave one out."""
    if set(ours) != set(expected):
        return sorted(set(ours) ^ set(expected))
    wrong = []
    for name, number in expected.items():
        found = ours[name]
        if (found is None) != (number is None) or (found is not None and abs(found - number) > 1e-9 * max(1, abs(number))):
            wrong.append((name, found, number))
    return wrong


expect = Expect()
database = cantools.database.load_file(ROOT / "fixtures/own-format.dbc", frame_id_mask=MASK)
ids(expect, database)
path = scratch("every-signal.log")
expected = write_log(path, database)
ours = [json.loads(line) for line in run("decode", path, "--format", "ndjson").splitlines()]
ours = [frame for frame in ours if frame["message"] != "hello"]
expect.same("frames", len(ours), len(expected))
for frame, (message, identifier, data) in zip(ours, expected):
    expect.same("id", frame["id"], identifier)
    expect.same(f"message of {identifier}", frame["message"], re.sub(r"_\d+$", "", message.name))
    wrong = differs(frame["signals"], theirs(message, int(identifier[-2:], 16), data))
    expect.that(f"{message.name} {data.hex()}", not wrong, wrong)
expect.close()
