#!/usr/bin/env python3
"""Makes of an ELF file what an RP2040 board takes as a file on its USB drive.

    firmware/uf2.py target/boards/pico.elf target/boards/pico.uf2

The format (Microsoft, "USB Flashing Format (UF2)") is blocks of 512 bytes: magic numbers, flags, address, length, number,
count, family, up to 476 bytes of data, and a last magic number; this chip's loader takes 256 bytes of data in each.
"""

import struct
import sys

MAGIC = (0x0A324655, 0x9E5D5157, 0x0AB16F30)
# The flags say that a family follows; the family is the RP2040's.
FLAGS = 0x00002000
FAMILY = 0xE48BFF56
PAGE = 256
FLASH = range(0x10000000, 0x10200000)


def loadable(elf):
    """(address, bytes) of what is loaded, by where it lies in flash (ELF specification 1.2, program header)."""
    if elf[:6] != b"\x7fELF\x01\x01":
        sys.exit("uf2: this is no 32-bit little-endian ELF file")
    (table,) = struct.unpack_from("<I", elf, 28)
    size, count = struct.unpack_from("<HH", elf, 42)
    for k in range(count):
        kind, offset, _, address, length = struct.unpack_from("<5I", elf, table + k * size)
        if kind == 1 and length > 0:
            if address not in FLASH:
                sys.exit(f"uf2: 0x{address:08x} is not in flash")
            yield address, elf[offset : offset + length]


def pages(parts):
    """Flash pages by their address, filled up with what erased flash holds."""
    found = {}
    for address, data in parts:
        for at, byte in enumerate(data, address):
            page = found.setdefault(at - at % PAGE, bytearray(b"\xff" * PAGE))
            page[at % PAGE] = byte
    return sorted(found.items())


def block(address, data, number, count):
    head = struct.pack("<8I", *MAGIC[:2], FLAGS, address, PAGE, number, count, FAMILY)
    return head + bytes(data).ljust(476, b"\0") + struct.pack("<I", MAGIC[2])


def main():
    with open(sys.argv[1], "rb") as file:
        found = pages(loadable(file.read()))
    with open(sys.argv[2], "wb") as file:
        for number, (address, data) in enumerate(found):
            file.write(block(address, data, number, len(found)))
    print(f"{sys.argv[2]}: {len(found)} pages of {PAGE} bytes")


if __name__ == "__main__":
    main()
