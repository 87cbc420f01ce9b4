#!/usr/bin/env python3
"""Lists where a board's image can panic, by the code that it comes from.

    firmware/panics.py target/boards/pico.elf

Calls of the core library's panicking functions are found in the disassembly, and each is led back through what was inlined to
the first line that is not the core library's. None may be in this project's own code. What others' code has is counted and held
against the number that is known, so that a change is noticed. Needs binutils-arm-none-eabi.
"""

import collections
import re
import subprocess
import sys

TOOL = "arm-none-eabi-"
# Panics that the USB stack, the controller's support crate and start-up have: what is reached, and a few.
MOST = 155
# A call that several checks share has lost its line: it is led back through the branches that come here, at most so many bytes
# before it.
SHARED = 16
HEAD = re.compile(r"^([0-9a-f]{8}) <(.+)>:$")
CALL = re.compile(r"^\s*([0-9a-f]+):\s+(?:bl|b|b\.n|b\.w|b[a-z]{2}(?:\.[nw])?)\s+[0-9a-f]+\s+<(.+?)(?:\+0x[0-9a-f]+)?>")
BRANCH = re.compile(r"^\s*([0-9a-f]+):\s+(?:cb?n?z|b[a-z]{0,2}(?:\.[nw])?)\s+(?:\w+, )?([0-9a-f]+)\s")
OWN = re.compile(r"(?:^|/)(?:firmware|protocol)/(?:src|boards)/|^src/")


def run(tool, *arguments):
    return subprocess.run([TOOL + tool, *arguments], check=True, capture_output=True, text=True).stdout


def calls(text):
    """(address, caller, callee) of each direct call or jump to another function."""
    found, current = [], None
    for line in text.splitlines():
        if head := HEAD.match(line):
            current = head[2]
        elif (call := CALL.match(line)) and call[2] != current:
            found.append((call[1], current, call[2]))
    return found


def is_core(name):
    return re.match(r"<?&?(?:mut )?(?:core|alloc|compiler_builtins)(?:\[[0-9a-f]+\])?::", name) is not None


def panicking(found):
    """The core library's functions that end in the panic handler."""
    ends = {name for edge in found for name in edge[1:] if name.endswith("rust_begin_unwind")}
    if not ends:
        sys.exit("panics: the image has no panic handler that can be found")
    while True:
        more = {caller for _, caller, callee in found if callee in ends and is_core(caller)} - ends
        if not more:
            return ends
        ends |= more


def origins(elf, addresses):
    """For each address the first inlined frame that is not the core library's: file and line."""
    if not addresses:
        return []
    told = run("addr2line", "-i", "-a", "-e", elf, *addresses).splitlines()
    frames, groups = [], []
    for line in told:
        if re.fullmatch(r"0x[0-9a-f]+", line):
            frames = []
            groups.append(frames)
        else:
            frames.append(line.split(" (discriminator")[0])
    own = lambda frame: "/library/" not in frame and not frame.startswith("??")
    return [next((frame for frame in frames if own(frame)), frames[-1]) for frames in groups]


def branches(text):
    """Addresses of the branches by where they go."""
    found = collections.defaultdict(list)
    for line in text.splitlines():
        if branch := BRANCH.match(line):
            found[int(branch[2], 16)].append(branch[1])
    return found


def places_of(elf, text, sites):
    """Where in the source each call of a panicking function comes from; a shared one from every branch that leads to it."""
    coming, found, led = branches(text), [], []
    for site, place in zip(sites, origins(elf, sites)):
        if not place.endswith((":?", ":0")):
            found.append(place)
            continue
        before = range(int(site, 16) - SHARED, int(site, 16) + 1)
        ways = [branch for at in before for branch in coming.get(at, ())]
        if ways:
            led += ways
        else:
            found.append(place)
    return found + origins(elf, led)


def short(place):
    """Crate and file of a path."""
    return re.sub(r"^.*/registry/src/[^/]+/", "", place)


def main():
    elf = sys.argv[1]
    text = run("objdump", "-d", "-C", "--no-show-raw-insn", elf)
    found = calls(text)
    ends = panicking(found)
    sites = [address for address, caller, callee in found if callee in ends and caller not in ends]
    places = collections.Counter(short(place) for place in places_of(elf, text, sites))
    for place, count in sorted(places.items()):
        print(f"{count:3}  {place}")
    own = [place for place in places if OWN.search(place)]
    crates = collections.Counter()
    for place, count in places.items():
        crates[place.split("/")[0]] += count
    print("in all", sum(places.values()), dict(crates))
    if own:
        sys.exit(f"panics: this project's own code can panic: {', '.join(own)}")
    if sum(places.values()) > MOST:
        sys.exit(f"panics: more than the {MOST} that are known")


if __name__ == "__main__":
    main()
