"""A conversation with a logger over a serial port, by the chapter "A session" of protocol/WIRE.md."""

import os
import select
import termios
import time
import tty

import messages
from frames import Malformed, Receiver, frame
from messages import Channel, Event, Identity, Reply, Samples, Status, UnknownKind
from readings import Recording

BAUD = termios.B115200
# An answer is waited for so long, s, and asked for so often: a board boots, and an answer may be lost.
ANSWER_WITHIN_S = 2.0
TRIES = 10
# The logger takes a host that is silent for ten seconds for gone.
PING_EVERY_S = 1.0


class NoAnswer(Exception):
    """The logger does not answer."""


class Refused(Exception):
    """The logger does not do what it is told."""


class Port:
    """A serial port as bytes."""

    def __init__(self, path):
        self.file = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(self.file)
        settings = termios.tcgetattr(self.file)
        settings[4] = settings[5] = BAUD
        termios.tcsetattr(self.file, termios.TCSANOW, settings)

    def read(self, within_s):
        ready, _, _ = select.select([self.file], [], [], within_s)
        return os.read(self.file, 4096) if ready else b""

    def write(self, data):
        while data:
            select.select([], [self.file], [], 1.0)
            data = data[os.write(self.file, data) :]


class Session:
    """Asks, waits for answers, and records what streams. All bytes that come are kept in `raw_log`, a file."""

    def __init__(self, port, raw_log):
        self.port, self.raw_log = port, raw_log
        self.receiver = Receiver()
        self.recording = Recording()
        self.identity = None
        self.status = None
        self.replies = []
        self.unknown = self.malformed = 0
        # Ends whatever the line carried before.
        port.write(b"\0")

    def hear(self, within_s):
        data = self.port.read(within_s)
        self.raw_log.write(data)
        self.take(data)

    def take(self, data):
        """Takes bytes from the logger."""
        for message in self.receiver.take(data):
            try:
                self.note(messages.decode(message))
            except UnknownKind:
                self.unknown += 1
            except Malformed:
                self.malformed += 1

    def note(self, message):
        if isinstance(message, Identity):
            self.identity = message
        elif isinstance(message, Channel):
            self.recording.take_channel(message)
        elif isinstance(message, Samples):
            self.recording.take_samples(message)
        elif isinstance(message, Event):
            self.recording.take_event(message)
        elif isinstance(message, Reply):
            self.replies.append(message)
        elif isinstance(message, Status):
            self.status = message

    def ask(self, message, answered):
        """Sends a message until `answered` gives something."""
        for _ in range(TRIES):
            self.port.write(frame(message))
            until = time.monotonic() + ANSWER_WITHIN_S
            while (left_s := until - time.monotonic()) > 0:
                self.hear(left_s)
                if (answer := answered()) is not None:
                    return answer
        raise NoAnswer("the logger does not answer")

    def order(self, message):
        """Sends a message that is answered by a reply."""
        self.replies.clear()
        kind = message[0]
        reply = self.ask(message, lambda: next((r for r in self.replies if r.to == kind), None))
        if reply.outcome != "done":
            raise Refused(f"the logger refuses message {kind}: {reply.outcome} ({reply.detail})")
        return reply

    def identify(self):
        self.identity = None
        return self.ask(messages.bare(messages.IDENTIFY), lambda: self.identity)

    def configure(self, sensors, period_us):
        self.order(messages.bare(messages.STOP))
        self.order(messages.bare(messages.CLEAR_SENSORS))
        for index, sensor in enumerate(sensors):
            self.order(messages.set_sensor(index, sensor))
        self.order(messages.set_rate(period_us))

    def stream(self, device_s):
        """Starts, listens until so much of the logger's time has passed or it ends by itself, and stops."""
        self.order(messages.bare(messages.START))
        until_us, pinged = None, 0.0
        last_heard, frames = time.monotonic(), self.receiver.frames
        while True:
            self.hear(0.2)
            now = time.monotonic()
            if self.receiver.frames > frames:
                last_heard, frames = now, self.receiver.frames
            elif now - last_heard > ANSWER_WITHIN_S * TRIES:
                raise NoAnswer("the logger went silent")
            if now - pinged > PING_EVERY_S:
                pinged = now
                self.port.write(frame(messages.ping(int(now * 1e6))))
            started = next((e for e in reversed(self.recording.events) if e.name == "started"), None)
            if started is not None:
                until_us = started.time_us + int(device_s * 1e6)
            if until_us is not None and self.recording.readings and self.recording.readings[-1][1] >= until_us:
                break
        self.order(messages.bare(messages.STOP))
        # What was on its way before the reply has come with it; the event may follow.
        self.hear(0.2)
