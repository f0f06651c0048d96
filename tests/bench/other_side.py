"""Reads a text log with python-can and decodes it with cantools; prints frames and the seconds of work of the loop alone."""

import sys
import time

import can
import cantools

log, dbc = sys.argv[1:]
database = cantools.database.load_file(dbc, frame_id_mask=0x1FFFFF00)
frames = 0
start = time.process_time()
for message in can.CanutilsLogReader(log):
    if message.channel == "cellwright":
        continue
    try:
        database.decode_message(message.arbitration_id, message.data, decode_choices=False)
    except KeyError:
        pass
    frames += 1
print(frames, time.process_time() - start)
