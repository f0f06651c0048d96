"""A sender of the open frame format, written from docs/frame-format.md alone, independent of the program's code."""

MISSING = None


class Sender:
    """Sends for a pack (0 to 15) or for the whole bank (16); counts its frames."""

    def __init__(self, index):
        self.address = 0x80 + index
        self.sent = 0

    def line(self, time, group, value, interface="can0"):
        """A line of the plain text log; `value` is a 64-bit little-endian number."""
        frame = (6 << 26) | (0xFF << 16) | (group << 8) | self.address
        self.sent += 1
        return f"({time:.6f}) {interface} {frame:08X}#{value.to_bytes(8, 'little').hex().upper()}\n"

    def hello(self, time):
        data = int.from_bytes(b"CWWL\x01\xff\xff\xff", "little")
        return self.line(time, 0x00, data)

    def beat(self, time, since_start):
        return self.line(time, 0x01, (self.sent & 0xFFFFFFFF) | int(since_start * 10) << 32)

    def fields(self, time, group, *fields):
        """Fields (start bit, bits, scale, offset, value) over a background of ones."""
        data = (1 << 64) - 1
        for start, bits, scale, offset, value in fields:
            ones = (1 << bits) - 1
            raw = ones if value is MISSING else round((value - offset) / scale)
            assert 0 <= raw <= ones, (group, start, value)
            data = data & ~(ones << start) | raw << start
        return self.line(time, group, data)

    def cells(self, time, first, volts):
        """Four cell voltages, `first` counted from 0."""
        return self.fields(time, 0x10 + first // 4, *((16 * k, 16, 1e-4, 0, v) for k, v in enumerate(volts)))

    def temperatures(self, time, celsius):
        return self.fields(time, 0x20, *((16 * k, 16, 0.01, -100, t) for k, t in enumerate(celsius)))

    def power(self, time, amps, pack_volts, bus_volts):
        return self.fields(
            time, 0x30, (0, 32, 0.001, -2000, amps), (32, 16, 0.002, 0, pack_volts), (48, 16, 0.002, 0, bus_volts)
        )

    def state(self, time, charge_path, discharge_path, heater_on):
        return self.fields(
            time, 0x31, (0, 2, 1, 0, charge_path), (2, 2, 1, 0, discharge_path), (4, 2, 1, 0, heater_on)
        )

    def packs(self, time, count):
        return self.fields(time, 0x50, (0, 8, 1, 0, count))

    def ratings(self, time, cells, amp_hours, charge=MISSING, discharge=MISSING):
        return self.fields(
            time, 0x60, (0, 8, 1, 0, cells), (16, 16, 0.1, 0, amp_hours), (32, 16, 0.1, 0, charge), (48, 16, 0.1, 0, discharge)
        )

    def path(self, time, heater_fitted, balance_kind=MISSING):
        return self.fields(time, 0x61, (48, 2, 1, 0, heater_fitted), (52, 4, 1, 0, balance_kind))

    def balance(self, time, amps, threshold):
        return self.fields(time, 0x62, (16, 16, 0.001, 0, amps), (32, 16, 1e-4, 0, threshold))

    def sensors(self, time, roles):
        """Role (1 cell, 2 case) and cell, counted from 1, of up to four sensors."""
        fields = []
        for k, (role, cell) in enumerate(roles):
            fields += [(16 * k, 8, 1, 0, role), (16 * k + 8, 8, 1, 0, cell)]
        return self.fields(time, 0x68, *fields)
