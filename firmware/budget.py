#!/usr/bin/env python3
"""Flash, static RAM and worst stack of a board's image, held against its budget.

    firmware/budget.py target/boards/emulated.elf        or target/boards/pico.elf

The stack is the deepest path through the calls that the disassembly shows, by the sizes that the compiler noted
(-Z emit-stack-sizes), and on top of it the deepest interrupt. Calls through a register cannot be followed: they are counted
and must stay at none but those that are known, and each is taken for a call of the deepest function that nobody calls by name.
Needs binutils-arm-none-eabi.
"""

import os
import re
import struct
import subprocess
import sys

# By board: budgets in bytes, the whole RAM, the interrupts that are enabled, and the most calls through a register. The emulated
# board has 256 KiB of flash and 64 KiB of RAM, which is what a small controller has. Each budget is what is reached, and a tenth:
# growth shall be noticed.
BOARDS = {
    "emulated": {
        "budget": {"flash": 145_000, "static RAM": 25_000, "worst stack": 40_000},
        "ram": 65_536,
        "interrupts": ("SysTick", "DefaultHandler"),
        "pointers": 0,
    },
    # The USB stack calls its classes through pointers. Its memory is the flash: settings are read and written from the stack.
    "pico": {
        "budget": {"flash": 141_000, "static RAM": 27_000, "worst stack": 35_000},
        "ram": 262_144,
        "interrupts": ("TIMER_IRQ_0", "USBCTRL_IRQ", "DefaultHandler_"),
        "pointers": 30,
    },
}
# What the processor pushes for an interrupt (ARMv7-M, B1.5.6): eight words, and one to align them.
EXCEPTION_FRAME = 36
TOOL = "arm-none-eabi-"


def run(tool, *arguments):
    return subprocess.run([TOOL + tool, *arguments], check=True, capture_output=True).stdout


def sections(elf):
    sizes = {}
    for line in run("size", "-A", elf).decode().splitlines():
        words = line.split()
        if len(words) == 3 and words[1].isdigit():
            sizes[words[0]] = int(words[1])
    return sizes


def stack_sizes(elf):
    """Stack of each function by its address."""
    whole = run("objcopy", "-O", "binary", "--only-section=.stack_sizes", "--set-section-flags", ".stack_sizes=alloc", elf, "/dev/stdout")
    sizes, at = {}, 0
    while at + 4 < len(whole):
        (address,) = struct.unpack_from("<I", whole, at)
        at += 4
        size = shift = 0
        while True:
            byte = whole[at]
            at += 1
            size |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                break
        sizes[address & ~1] = size
    return sizes


def call_graph(elf):
    """Names by address, and for each address what it calls and how often through a register."""
    names, calls, indirect, current = {}, {}, {}, None
    head = re.compile(r"^([0-9a-f]{8}) <(.+)>:$")
    jump = re.compile(r"^\s*[0-9a-f]+:\s+(bl|b|b\.n|b\.w|b[a-z]{2}(?:\.[nw])?|blx|bx)\s+(\S+)(?:\s+<(.+?)(?:\+0x[0-9a-f]+)?>)?")
    for line in run("objdump", "-d", "--no-show-raw-insn", elf).decode().splitlines():
        if found := head.match(line):
            current = int(found[1], 16)
            names[current] = found[2]
            calls.setdefault(current, set())
        elif current is not None and (found := jump.match(line)):
            kind, target = found[1], found[2]
            if kind == "blx" or (kind == "bx" and target != "lr"):
                indirect[current] = indirect.get(current, 0) + 1
            elif re.fullmatch(r"[0-9a-f]+", target) and found[3] != names[current]:
                calls[current].add(int(target, 16))
    return names, calls, indirect


def deepest(start, calls, sizes, names):
    """Bytes of stack below `start` and the path that takes them."""
    memory, busy = {}, set()

    def depth(at):
        if at in memory:
            return memory[at]
        if at in busy:
            sys.exit(f"budget: {names.get(at)} calls itself: its stack has no bound")
        busy.add(at)
        below = max((depth(to) for to in calls.get(at, ()) if to in names), default=(0, []))
        busy.discard(at)
        # Assembly has no note; what there is of it pushes little.
        memory[at] = (sizes.get(at, 16) + below[0], [at, *below[1]])
        return memory[at]

    return depth(start)


def through_pointers(names, calls, indirect, entries):
    """Lets each call through a register reach every function that nobody calls by name."""
    named = {to for targets in calls.values() for to in targets}
    orphans = {at for at in names if at not in named and at not in entries and at not in indirect}
    for at in indirect:
        calls[at] |= orphans


def main():
    elf = sys.argv[1]
    board = BOARDS[os.path.splitext(os.path.basename(elf))[0]]
    budget = board["budget"]
    sys.setrecursionlimit(10_000)
    parts = sections(elf)
    sizes = stack_sizes(elf)
    if not sizes:
        sys.exit("budget: the image has no stack sizes: it was not built by Debian's compiler")
    names, calls, indirect = call_graph(elf)
    by_name = {name: at for at, name in names.items()}
    entries = [by_name[name] for name in ("Reset", *board["interrupts"])]
    through_pointers(names, calls, indirect, entries)
    stack, path = deepest(entries[0], calls, sizes, names)
    interrupt = max(deepest(at, calls, sizes, names)[0] for at in entries[1:]) + EXCEPTION_FRAME
    reached = {
        "flash": sum(parts.get(name, 0) for name in (".boot2", ".vector_table", ".text", ".rodata", ".data")),
        "static RAM": sum(parts.get(name, 0) for name in (".data", ".bss", ".uninit")),
        "worst stack": stack + interrupt,
    }
    for what, size in reached.items():
        print(f"{what:12} {size:7} bytes of {budget[what]:7}")
    print(f"{'RAM in all':12} {reached['static RAM'] + reached['worst stack']:7} bytes of {board['ram']:7}")
    print("deepest: " + " > ".join(f"{names[at][:40]} {sizes.get(at, 16)}" for at in path if sizes.get(at, 16) > 100))
    pointers = sum(indirect.values())
    print(f"calls through a register: {pointers} of {board['pointers']}")
    over = [what for what, size in reached.items() if size > budget[what]]
    if reached["static RAM"] + reached["worst stack"] > board["ram"]:
        over.append("RAM in all")
    if pointers > board["pointers"]:
        over.append("calls through a register, which cannot be followed")
    if over:
        sys.exit(f"budget: over budget: {', '.join(over)}")


if __name__ == "__main__":
    main()
