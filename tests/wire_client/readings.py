"""Readings out of sample blocks, and what was lost on the way, by "Kind 2, samples" of protocol/WIRE.md."""

from frames import Malformed, Reader
from messages import Event

LATE, MISSING, SHIFT = range(3)


def wrapped(value):
    """A sum as 32 bits with a sign."""
    return (value + 2**31) % 2**32 - 2**31


def readings(block, slots_us):
    """(channel, time µs, raw) of each reading in a block; `slots_us` by channel."""
    channels = [c for c in range(40) if block.mask >> c & 1]
    raw = dict.fromkeys(channels, 0)
    r = Reader(block.payload)
    found = []
    for scan in range(block.scans):
        late, missing, shift = {}, set(), 0
        for _ in range(r.u32()):
            channel, tag = divmod(r.u32(), 4)
            if tag == LATE:
                late[channel] = r.i32()
            elif tag == MISSING:
                missing.add(channel)
            elif tag == SHIFT:
                shift = r.i32()
            else:
                raise Malformed(f"exception {tag}")
        for channel in channels:
            if channel in missing:
                continue
            raw[channel] = wrapped(raw[channel] + r.i32())
            after_us = slots_us.get(channel, 0) + late.get(channel, shift)
            found.append((channel, block.first_time_us + scan * block.period_us + after_us, raw[channel]))
    r.end()
    return found


class Recording:
    """What a stream of messages says: readings by the channel table, losses, events."""

    def __init__(self):
        self.channels = {}
        self.readings = []
        self.events = []
        self.lost_blocks = 0
        self.lost_scans = 0
        self.next_sequence = None
        self.next_scan = {}

    def take_channel(self, row):
        self.channels[row.index] = row

    def take_event(self, event: Event):
        self.events.append(event)
        if event.name == "started":
            self.next_sequence, self.next_scan = 0, {}

    def take_samples(self, block):
        if self.next_sequence is not None:
            self.lost_blocks += max(0, block.sequence - self.next_sequence)
            self.lost_scans += max(0, block.first_scan - self.next_scan.get(block.group, 0))
        self.next_sequence = block.sequence + 1
        self.next_scan[block.group] = block.first_scan + block.scans
        slots_us = {index: row.slot_us for index, row in self.channels.items()}
        self.readings += readings(block, slots_us)

    def rows(self):
        """(time µs, channel, raw, value in the channel's unit or none) of each reading, in the order of arrival.

        A ratio divides by the latest value of its excitation that was read before it; without one there is no value.
        """
        latest, rows = {}, []
        for channel, time_us, raw in self.readings:
            row = self.channels.get(channel)
            value = None
            if row is not None:
                value = latest[channel] = raw * row.scale + row.offset
                if row.ratio_to is not None:
                    below = latest.get(row.ratio_to)
                    value = value / below if below else None
            rows.append((time_us, channel, raw, value))
        return rows
