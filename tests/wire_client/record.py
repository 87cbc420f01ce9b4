#!/usr/bin/env python3
"""Records from a logger to a table, as a stranger would who has nothing but protocol/WIRE.md.

    record.py PORT --sensors SENSORS.json --seconds N --output READINGS.csv [--raw BYTES.bin]
    record.py --bytes BYTES.bin --output READINGS.csv          decodes what was recorded before

SENSORS.json: {"period_us": 5000, "sensors": [{"name": …, "part": …, "bus": …, "address": …, "component": …, …}]}, the fields of
"set sensor". The table has a row a reading: device time, sensor, component, raw count, value, unit. A summary goes to standard
output as JSON.
"""

import argparse
import csv
import json
import os
import sys

from frames import OtherVersion
from session import NoAnswer, Port, Refused, Session


class Silence:
    """A port on which nothing comes: for bytes that were recorded before."""

    def read(self, within_s):
        return b""

    def write(self, data):
        pass


def arguments():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("port", nargs="?", help="the serial port")
    parser.add_argument("--sensors", help="what the logger is to read; what it is configured for where none is given")
    parser.add_argument("--seconds", type=float, default=10.0, help="how long, in the logger's time")
    parser.add_argument("--bytes", help="a file of bytes from a logger, instead of a port")
    parser.add_argument("--raw", help="where to keep the bytes as they came")
    parser.add_argument("--output", required=True, help="the table to write")
    return parser.parse_args()


def record(args):
    with open(args.raw or os.devnull, "wb") as raw:
        session = Session(Port(args.port), raw)
        session.identify()
        if args.sensors:
            with open(args.sensors, encoding="utf-8") as file:
                wanted = json.load(file)
            session.configure(wanted["sensors"], wanted["period_us"])
        session.stream(args.seconds)
    return session


def decode(args):
    with open(args.bytes, "rb") as file, open(os.devnull, "wb") as nowhere:
        session = Session(Silence(), nowhere)
        session.take(file.read())
    return session


def write_table(path, recording):
    with open(path, "w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(("time_us", "channel", "sensor", "component", "raw", "value", "unit"))
        for time_us, channel, raw, value in recording.rows():
            row = recording.channels.get(channel)
            known = (row.sensor, row.component, row.unit) if row else ("", "", "")
            shown = "" if value is None else repr(value)
            table.writerow((time_us, channel, *known[:2], raw, shown, known[2]))


def main():
    args = arguments()
    try:
        session = decode(args) if args.bytes else record(args)
    except (OSError, OtherVersion, NoAnswer, Refused) as error:
        sys.exit(f"record.py: {error}")
    write_table(args.output, session.recording)
    recording, identity, status = session.recording, session.identity, session.status
    summary = {
        "board": identity.board if identity else None,
        "wire": [identity.major, identity.minor] if identity else None,
        "channels": len(recording.channels),
        "readings": len(recording.readings),
        "lost_blocks": recording.lost_blocks,
        "lost_scans": recording.lost_scans,
        "dropped_frames": session.receiver.dropped,
        "malformed": session.malformed,
        "unknown": session.unknown,
        "left_out": status.overrun_scans if status else None,
        "events": [event.name for event in recording.events],
    }
    print(json.dumps(summary))


if __name__ == "__main__":
    main()
