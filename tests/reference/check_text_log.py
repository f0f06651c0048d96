"""The plain CAN text log as python-can writes and reads it.

Differences of python-can 4.6.1 that are allowed for, each seen in its source: its reader refuses '.' between bytes, length
suffixes '_9' to '_F' and FD flags above 9, and treats an error frame without the class bit 0x80 as a data frame; its writer
drops the length of a remote frame. What it does read and write must agree with ours, frame by frame.
"""

import json
import random

import can
from expect import Expect, run, scratch

START = 1_768_435_200.0
FD_LENGTHS = [*range(9), 12, 16, 20, 24, 32, 48, 64]


def random_message(chance, number):
    extended = chance.random() < 0.6
    fd = chance.random() < 0.3
    remote = not fd and chance.random() < 0.1
    length = chance.choice(FD_LENGTHS) if fd else chance.randrange(9)
    return can.Message(
        timestamp=START + number * 0.001,
        arbitration_id=chance.getrandbits(29 if extended else 11),
        is_extended_id=extended,
        is_fd=fd,
        bitrate_switch=fd and chance.random() < 0.5,
        error_state_indicator=fd and chance.random() < 0.5,
        is_remote_frame=remote,
        dlc=0 if remote else length,
        data=b"" if remote else bytes(chance.getrandbits(8) for _ in range(length)),
        channel=chance.choice(["can0", "vcan1"]),
        is_rx=chance.random() < 0.8,
    )


def decoded(path):
    return [json.loads(line) for line in run("decode", path, "--format", "ndjson").splitlines()]


def shown(message):
    return f"{message.arbitration_id:08X}" if message.is_extended_id else f"{message.arbitration_id:03X}"


def written_by_python_can(expect):
    chance = random.Random(7)
    messages = [random_message(chance, number) for number in range(4000)]
    path = scratch("theirs.log")
    writer = can.CanutilsLogWriter(str(path))
    for message in messages:
        writer.on_message_received(message)
    writer.stop()
    ours = decoded(path)
    expect.same("frames read out of python-can's log", len(ours), len(messages))
    for message, frame in zip(messages, ours):
        expect.same(f"id of {message}", frame["id"], shown(message))
        digits = f"{round((message.timestamp - START) * 1e6):06d}"
        expect.that(f"stamp of {message}", frame["time"][20:26] == digits[-6:], frame["time"])
        expect.same(f"a foreign frame has no meaning: {message}", frame["message"], None)
    verdict = json.loads(run("check", "--format", "json", path, exits=(0, 1, 3)))
    expect.same("frames counted by check", verdict["input"]["frames"], len(messages))
    expect.same("lines rejected by check", sum(verdict["input"]["rejected"].values()), 0)


def read_by_python_can(expect):
    path = scratch("ours.log")
    run("demo", "cold-morning", "--days", 1, "--sample", 60, "--log", path)
    theirs = [message for message in can.CanutilsLogReader(str(path)) if message.channel != "cellwright"]
    ours = decoded(path)
    expect.that("a day of the demo holds frames", len(ours) > 5000, len(ours))
    expect.same("frames that python-can reads out of our log", len(theirs), len(ours))
    for message, frame in zip(theirs, ours):
        expect.same("id", shown(message), frame["id"])
        expect.that("our frames are classical, 29-bit and 8 bytes long", message.is_extended_id and message.dlc == 8, message)


expect = Expect()
written_by_python_can(expect)
read_by_python_can(expect)
expect.close()
