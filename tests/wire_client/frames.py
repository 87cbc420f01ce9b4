"""Frames: bytes of the line to messages and back, by the chapters "Frame" and "Values" of protocol/WIRE.md."""

import struct
import zlib

MAJOR = 1
# Most bytes before COBS of a frame from the logger; one in COBS has a code byte more for each 254 begun.
MAX_CONTENT = 581
MAX_CODED = MAX_CONTENT + MAX_CONTENT // 254 + 1


def cobs(content):
    """`content` without zeros."""
    coded, group = bytearray(), bytearray()
    for place, byte in enumerate(content):
        if byte:
            group.append(byte)
        if not byte:
            coded += bytes([len(group) + 1]) + group
            group.clear()
        elif len(group) == 254:
            coded += b"\xff" + group
            group.clear()
            # No zero is meant after a full group, so that nothing need follow it.
            if place == len(content) - 1:
                return bytes(coded)
    return bytes(coded + bytes([len(group) + 1]) + group)


def uncobs(coded):
    """What `cobs` was given; none if it never gave this."""
    content, at = bytearray(), 0
    while at < len(coded):
        code = coded[at]
        group = coded[at + 1 : at + code]
        if code == 0 or len(group) != code - 1 or 0 in group:
            return None
        content += group
        at += code
        if code < 0xFF and at < len(coded):
            content.append(0)
    return bytes(content)


def frame(message):
    """A message on the line: version, check, COBS and the zero."""
    content = bytes([MAJOR]) + message
    return cobs(content + zlib.crc32(content).to_bytes(4, "little")) + b"\0"


class OtherVersion(Exception):
    """The other end speaks another major version."""


class Receiver:
    """Takes bytes in pieces of any size and gives messages; what it drops, it counts.

    A receiver that joins in the middle drops what it finds before the first zero, and goes on after that.
    """

    def __init__(self):
        self.collected = bytearray()
        self.overflowed = False
        self.frames = 0
        self.dropped = 0

    def take(self, data):
        """Messages (kind and content) that end in `data`. Raises OtherVersion."""
        messages = []
        for byte in data:
            if byte:
                self.overflowed |= len(self.collected) >= MAX_CODED
                if not self.overflowed:
                    self.collected.append(byte)
            elif self.collected:
                message = None if self.overflowed else self.unwrap(bytes(self.collected))
                self.collected.clear()
                self.overflowed = False
                if message is None:
                    self.dropped += 1
                else:
                    self.frames += 1
                    messages.append(message)
        return messages

    @staticmethod
    def unwrap(coded):
        content = uncobs(coded)
        if content is None or len(content) < 6:
            return None
        body, check = content[:-4], content[-4:]
        if zlib.crc32(body).to_bytes(4, "little") != check:
            return None
        if body[0] != MAJOR:
            raise OtherVersion(f"the logger speaks version {body[0]} of the wire, this client version {MAJOR}")
        return body[1:]


class Malformed(ValueError):
    """Content that is no message."""


class Reader:
    """Values of a message, one after another."""

    def __init__(self, content):
        self.content, self.at = content, 0

    def take(self, count):
        piece = self.content[self.at : self.at + count]
        if len(piece) != count:
            raise Malformed("the message ends too soon")
        self.at += count
        return piece

    def u8(self):
        return self.take(1)[0]

    def boolean(self):
        value = self.u8()
        if value > 1:
            raise Malformed(f"{value} is no bool")
        return value == 1

    def varint(self, bits):
        value = 0
        for place in range((bits + 6) // 7):
            byte = self.u8()
            value |= (byte & 0x7F) << 7 * place
            if byte < 0x80:
                if value >> bits:
                    raise Malformed(f"a varint has more than {bits} bits")
                return value
        raise Malformed("a varint is too long")

    def u16(self):
        return self.varint(16)

    def u32(self):
        return self.varint(32)

    def u64(self):
        return self.varint(64)

    def i32(self):
        value = self.varint(32)
        return value >> 1 ^ -(value & 1)

    def f32(self):
        return struct.unpack("<f", self.take(4))[0]

    def bytes(self, most):
        length = self.varint(32)
        if length > most:
            raise Malformed(f"{length} bytes where {most} are the most")
        return self.take(length)

    def text(self, most):
        return self.bytes(most).decode("utf-8")

    def option(self, read):
        return read() if self.boolean() else None

    def end(self):
        if self.at != len(self.content):
            raise Malformed(f"{len(self.content) - self.at} bytes are left over")


def varint(value):
    """An unsigned number, seven bits a byte."""
    coded = bytearray()
    while value > 0x7F:
        coded.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes(coded) + bytes([value])


def text(value, most):
    """Length and UTF-8."""
    coded = value.encode("utf-8")
    if len(coded) > most:
        raise ValueError(f'"{value}" is longer than {most} bytes')
    return varint(len(coded)) + coded


def option(value, coded):
    """None, or 01 and the value's bytes."""
    return b"\0" if value is None else b"\x01" + coded
