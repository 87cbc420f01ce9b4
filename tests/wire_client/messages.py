"""Messages by the chapters "From the logger" and "From the host" of protocol/WIRE.md: one class a kind, fields as there."""

from dataclasses import dataclass, field

from frames import Malformed, Reader, option, text, varint

COMPONENTS = ("length", "angle", "ax", "ay", "az", "gx", "gy", "gz", "range", "force", "excitation", "temperature")
UNITS = ("V", "m", "rad", "m/s²", "rad/s", "N", "°C", "count")
CAUSES = ("unknown", "power on", "reset pin", "watchdog", "brown-out", "software", "fault")
OUTCOMES = (
    "done", "not while streaming", "unknown part", "table full", "value out of range", "no such bus", "too fast",
    "no sensors", "not supported", "out of order", "conflict", "busy",
)  # fmt: skip


def word(words, code):
    """What a code means; one that this client does not know means "unknown"."""
    return words[code] if code < len(words) else "unknown"


@dataclass
class Identity:
    major: int
    minor: int
    firmware: str
    board: str
    unique_id: bytes
    build: str
    boot_count: int
    uptime_us: int
    reset_cause: str
    buses: int
    channels: int
    streaming: bool
    stored: int

    @classmethod
    def read(cls, r):
        return cls(
            r.u8(), r.u8(), r.text(16), r.text(24), r.bytes(16), r.text(40), r.u32(), r.u64(), word(CAUSES, r.u8()),
            r.u8(), r.u8(), r.boolean(), r.u32(),
        )  # fmt: skip


@dataclass
class Channel:
    index: int
    count: int
    sensor_index: int
    sensor: str
    component: str
    quantity: int
    unit: str
    scale: float
    offset: float
    raw_min: int
    raw_max: int
    ratio_to: int | None
    group: int
    slot_us: int
    period_us: int

    @classmethod
    def read(cls, r):
        return cls(
            r.u8(), r.u8(), r.u8(), r.text(32), word(COMPONENTS, r.u8()), r.u8(), word(UNITS, r.u8()), r.f32(), r.f32(),
            r.i32(), r.i32(), r.option(r.u8), r.u8(), r.u32(), r.u32(),
        )  # fmt: skip


@dataclass
class Samples:
    sequence: int
    group: int
    first_scan: int
    first_time_us: int
    period_us: int
    mask: int
    scans: int
    payload: bytes

    @classmethod
    def read(cls, r):
        return cls(r.u32(), r.u8(), r.u32(), r.u64(), r.u32(), r.u64(), r.u8(), r.bytes(512))


# Event kinds by number: name, and how the content is read.
EVENTS = (
    ("sensor lost", lambda r: {"sensor": r.u8(), "reason": r.u8()}),
    ("sensor found", lambda r: {"sensor": r.u8()}),
    ("saturated", lambda r: {"channel": r.u8(), "count": r.u32()}),
    ("overrun", lambda r: {"scans": r.u32()}),
    ("queue full", lambda r: {"messages": r.u32()}),
    ("booted", lambda r: {"cause": word(CAUSES, r.u8())}),
    ("supply low", lambda r: {"millivolts": r.u16()}),
    ("button", lambda r: {"press": word(("short", "long"), r.u8())}),
    ("still", lambda r: {}),
    ("bus recovered", lambda r: {"bus": r.u8()}),
    ("bus stuck", lambda r: {"bus": r.u8()}),
    ("started", lambda r: {}),
    ("stopped", lambda r: {}),
    ("store full", lambda r: {}),
)


@dataclass
class Event:
    time_us: int
    name: str
    content: dict = field(default_factory=dict)

    @classmethod
    def read(cls, r):
        time_us, kind = r.u64(), r.u32()
        if kind >= len(EVENTS):
            raise UnknownKind(f"event kind {kind}")
        name, content = EVENTS[kind]
        return cls(time_us, name, content(r))


@dataclass
class Reply:
    to: int
    outcome: str
    detail: int

    @classmethod
    def read(cls, r):
        return cls(r.u8(), word(OUTCOMES, r.u8()), r.u32())


@dataclass
class Pong:
    host_us: int
    device_us: int

    @classmethod
    def read(cls, r):
        return cls(r.u64(), r.u64())


@dataclass
class BusScan:
    bus: int
    multiplexer: tuple | None
    addresses: tuple

    @classmethod
    def read(cls, r):
        bus, multiplexer = r.u8(), r.option(lambda: (r.u8(), r.u8()))
        bits = r.u64() | r.u64() << 64
        return cls(bus, multiplexer, tuple(a for a in range(128) if bits >> a & 1))


@dataclass
class Stored:
    index: int
    total: int
    boot_count: int
    message: bytes

    @classmethod
    def read(cls, r):
        return cls(r.u32(), r.u32(), r.u32(), r.bytes(556))


@dataclass
class Status:
    uptime_us: int
    streaming: bool
    sensors_lost: int
    overrun_scans: int
    dropped_messages: int
    bus_errors: int
    refused_frames: int
    unknown_kinds: int

    @classmethod
    def read(cls, r):
        return cls(r.u64(), r.boolean(), r.u32(), r.u32(), r.u32(), r.u32(), r.u32(), r.u32())


@dataclass
class LastWords:
    place: str

    @classmethod
    def read(cls, r):
        return cls(r.text(48))


KINDS = (Identity, Channel, Samples, Event, Reply, Pong, BusScan, Stored, Status, LastWords)


class UnknownKind(Exception):
    """A message or event kind of a later minor version: to be skipped and counted."""


def decode(message):
    """A message from the logger. Raises Malformed or UnknownKind."""
    reader = Reader(message)
    kind = reader.u32()
    if kind >= len(KINDS):
        raise UnknownKind(f"message kind {kind}")
    try:
        value = KINDS[kind].read(reader)
    except UnicodeDecodeError as error:
        raise Malformed("a text is no UTF-8") from error
    reader.end()
    return value


IDENTIFY, CLEAR_SENSORS, SET_SENSOR, SET_RATE, START, STOP, STILL, PING, SCAN_BUS, FETCH_STORED, ERASE_STORED = range(11)


def bare(kind):
    """A message without content."""
    return bytes([kind])


def set_sensor(index, sensor):
    """Configures a sensor: a dictionary with the fields of the document."""
    mux = sensor.get("multiplexer")
    excitation = sensor.get("excitation")
    return b"".join((
        bytes([SET_SENSOR, index]),
        text(sensor["name"], 32),
        text(sensor["part"], 16),
        bytes([sensor["bus"]]),
        option(mux, bytes(mux or ())),
        bytes([sensor["address"], sensor.get("input", 0)]),
        option(excitation, bytes([excitation or 0])),
        bytes([COMPONENTS.index(sensor["component"])]),
        varint(sensor.get("every", 1)),
        *(varint(sensor.get(key, 0)) for key in ("full_scale_mv", "full_scale_g", "full_scale_dps")),
    ))  # fmt: skip


def set_rate(period_us, scans_per_block=0):
    return bytes([SET_RATE]) + varint(period_us) + bytes([scans_per_block])


def ping(host_us):
    return bytes([PING]) + varint(host_us)


def scan_bus(bus):
    return bytes([SCAN_BUS, bus])


def fetch_stored(first, count):
    return bytes([FETCH_STORED]) + varint(first) + varint(count)
