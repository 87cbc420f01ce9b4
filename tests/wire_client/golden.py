#!/usr/bin/env python3
"""Holds this client against the vectors of protocol/WIRE.md: golden.py protocol/WIRE.md

Every frame from the logger is decoded; those that the document explains in words must say that. Every frame from the host is
made again. Then each is damaged in every bit, and none may get through.
"""

import re
import sys

import messages
from frames import Receiver, cobs, frame, uncobs
from readings import readings

CHAPTER = re.compile(r"^## (.+)$")
VECTOR = re.compile(r"^([a-z ]+): ((?:[0-9a-f]{2} )+00)$")

# What the document's words and tables say of its vectors.
FROM_HOST = {
    "identify": messages.bare(messages.IDENTIFY),
    "clear sensors": messages.bare(messages.CLEAR_SENSORS),
    "set sensor": messages.set_sensor(
        0,
        {
            "name": "left travel", "part": "ads1115", "bus": 0, "multiplexer": (0x70, 2), "address": 0x48, "input": 0,
            "excitation": 3, "component": "length", "every": 1, "full_scale_mv": 4096,
        },
    ),
    "set rate": messages.set_rate(5000, 20),
    "start": messages.bare(messages.START),
    "stop": messages.bare(messages.STOP),
    "still": messages.bare(messages.STILL),
    "ping": messages.ping(123_456_789),
    "scan bus": messages.scan_bus(1),
    "fetch stored": messages.fetch_stored(0, 1000),
    "erase stored": messages.bare(messages.ERASE_STORED),
}  # fmt: skip


# What its words say of frames from the logger.
FROM_LOGGER = {
    "identity": messages.Identity(
        1, 0, "0.1.0", "bench", bytes.fromhex("e6610001"), "3a7559f", 3, 2_500_000, "power on", 2, 12, False, 0
    ),
    "reply": messages.Reply(messages.SET_RATE, "too fast", 4600),
    "pong": messages.Pong(123_456_789, 1_000_000),
    "bus scan": messages.BusScan(1, (0x70, 2), (0x36, 0x48, 0x6A)),
    "stored": messages.Stored(2, 40, 3, bytes.fromhex("03c0843d0b")),
    "status": messages.Status(2_500_000, True, 1 << 4, 2, 5, 17, 1, 0),
    "last words": messages.LastWords("device.rs:620"),
}


def vectors(path):
    """(chapter, name, bytes) of each line that is a frame."""
    chapter, found = "", []
    with open(path, encoding="utf-8") as file:
        for line in map(str.rstrip, file):
            if head := CHAPTER.match(line):
                chapter = head[1]
            elif vector := VECTOR.match(line):
                found.append((chapter, vector[1], bytes.fromhex(vector[2])))
    return found


def message_of(data):
    (message,) = Receiver().take(data)
    return message


def check_logger(name, data):
    decoded = messages.decode(message_of(data))
    if name == "samples":
        found = readings(decoded, {0: 500, 2: 1500})
        assert found == [(0, 1_000_500, 1000), (2, 1_001_500, -3), (2, 1_006_700, -5)], found
        assert (decoded.sequence, decoded.group, decoded.first_scan) == (7, 0, 0)
    elif name.startswith("event "):
        assert (decoded.name, decoded.time_us) == (name.removeprefix("event "), 1_000_000), decoded
    elif name == "channel":
        assert abs(decoded.scale / 0.000125 - 1) < 1e-7, decoded.scale
        decoded.scale = 0.000125
        expected = (0, 12, 0, "left travel", "length", 0, "V", 0.000125, 0.0, -32768, 32767, 1, 0, 700, 5000)
        assert decoded == messages.Channel(*expected), decoded
    else:
        assert decoded == FROM_LOGGER[name], decoded


def check_damage(data):
    """No frame with one bit turned over gives a message: it gives nothing, and if a zero was made, two pieces that are none."""
    for place in range(len(data) - 1):
        for bit in range(8):
            damaged = bytearray(data)
            damaged[place] ^= 1 << bit
            receiver = Receiver()
            assert receiver.take(bytes(damaged)) == [] and receiver.dropped >= 1, (place, bit)


def check_cobs():
    """Groups of every length around 254, with and without zeros."""
    for length in (0, 1, 253, 254, 255, 508, 509):
        for content in (bytes([7] * length), bytes([7] * length) + b"\0", b"\0" + bytes([7] * length)):
            coded = cobs(content)
            assert 0 not in coded and uncobs(coded) == content, length
    assert cobs(bytes.fromhex("11220033")) == bytes.fromhex("0311220233")


def main():
    found = vectors(sys.argv[1])
    logger = [(name, data) for chapter, name, data in found if chapter == "From the logger"]
    host = [(name, data) for chapter, name, data in found if chapter == "From the host"]
    assert {name for name, _ in host} == set(FROM_HOST) and len(logger) == len(messages.EVENTS) + 9, found
    check_cobs()
    for name, data in logger:
        check_logger(name, data)
        check_damage(data)
    for name, data in host:
        assert frame(FROM_HOST[name]) == data, (name, frame(FROM_HOST[name]).hex(" "))
        # A receiver that joins in the middle of another frame finds it.
        assert Receiver().take(b"\x07\x41\x42\0" + data) == [FROM_HOST[name]]
    print(f"{len(logger)} frames from the logger, {len(host)} from the host")


if __name__ == "__main__":
    main()
