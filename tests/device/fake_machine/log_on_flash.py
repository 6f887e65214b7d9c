"""A hub's log on littlefs, on a block device in memory: run by `test_log_on_flash.py`.

    micropython log_on_flash.py cut FILE STEP    cut the power at every write
    micropython log_on_flash.py wear FILE TIMES  count erases

FILE has a line for each thing that a hub wrote: `begin HEX` and `add HEX` are the log's, and
`save COPY HEX` the record's. The first form takes every STEP-th of the log's. It cuts the power at
each erase and at each program of it, of which five lengths get through, and boots after each. The
second form writes all of the file so many times and prints how often each block was erased.

What the block device does: a program copies bytes, and an erase sets a block to ones. At the write
at which power goes both do a part of that. The collector closes once more what a cut has left open.
A device in Python has no memory for that, and says so; nothing comes of it.
"""

import os
import sys

import vfs
from frames import entries  # of tools/log, which is on the path

from evenclay.boards.log.ring import Ring

BLOCK = 4096
# A Pico W has 212 blocks for files (from memory of MicroPython's board files), and its littlefs
# programs 256 bytes at once.
WEAR_BLOCKS = 212
CUT_BLOCKS = 40
PROGRAM = 256
TORN_PCT = (0, 25, 50, 75, 99)
MOST_BYTES = 65536
FOLDER = "/flash/log"
FILLED_BYTES = 160000  # what a bundle takes


class Flash:
    """A block device. `cut_at`: power goes at that write from now; 0: it stays."""

    def __init__(self, blocks):
        self.blocks = blocks
        self.data = bytearray(b"\xff" * (BLOCK * blocks))
        self.erases = [0] * blocks
        self.writes = 0
        self.cut_at = 0
        self.torn_pct = 0

    def readblocks(self, block, buf, offset=0):
        at = block * BLOCK + offset
        buf[:] = self.data[at : at + len(buf)]
        return 0

    def writeblocks(self, block, buf, offset=0):
        at = block * BLOCK + offset
        length = self._through(len(buf))
        self.data[at : at + length] = buf[:length]
        if length < len(buf):
            raise OSError(5)
        return 0

    def ioctl(self, op, arg):
        if op == 4:
            return self.blocks
        if op == 5:
            return BLOCK
        if op == 6:
            self.erases[arg] += 1
            length = self._through(BLOCK)
            at = arg * BLOCK
            self.data[at : at + length] = b"\xff" * length
            if length < BLOCK:
                raise OSError(5)
        return 0

    def _through(self, length):
        """How much of a write gets through."""
        self.writes += 1
        if not self.cut_at or self.writes < self.cut_at:
            return length
        return length * self.torn_pct // 100 if self.writes == self.cut_at else 0


def mount(flash, fresh=False):
    if fresh:
        vfs.VfsLfs2.mkfs(flash, progsize=PROGRAM)
    vfs.mount(vfs.VfsLfs2(flash, progsize=PROGRAM), "/flash")


def resumed():
    ring = Ring(FOLDER, MOST_BYTES)
    ring.resume()
    return ring


def put(ring, what, data):
    if what == "begin":
        ring.begin(data)
    else:
        ring.add(data)


def kept():
    """Number and whole entries of each file of the log."""
    found = []
    for number in sorted([int(name) for name in os.listdir(FOLDER)]):
        with open(f"{FOLDER}/{number}", "rb") as file:
            found.append((number, entries(file.read(), number)[0]))
    return found


def cut_everywhere(lines, step):
    """Cut the power at every write of every `step`-th operation. Prints how often."""
    flash = Flash(CUT_BLOCKS)
    mount(flash, True)
    ring = resumed()
    cuts = 0
    for place, (what, data) in enumerate(lines):
        if place % step == 0:
            vfs.umount("/flash")
            before = bytes(flash.data)
            cuts += cut_one(flash, before, what, data)
            flash.data[:] = before
            mount(flash)
            ring = resumed()
        put(ring, what, data)
    print("cuts", cuts)


def cut_one(flash, before, what, data):
    """Cut the power at the first write of an operation, the second and so on, until nothing is cut.

    Boots after each. Returns how often it was cut.
    """
    mount(flash)
    old = kept()
    put(resumed(), what, data)
    new = kept()
    vfs.umount("/flash")
    assert new != old
    cuts = 0
    while True:
        for torn_pct in TORN_PCT:
            flash.data[:] = before
            mount(flash)
            ring = resumed()
            flash.writes, flash.cut_at, flash.torn_pct = 0, cuts // len(TORN_PCT) + 1, torn_pct
            try:
                put(ring, what, data)
                cut = False
            except OSError:
                cut = True
            flash.cut_at = 0
            vfs.umount("/flash")
            if not cut:
                assert cuts
                return cuts
            cuts += 1
            mount(flash)
            boot(old, new, what)
            vfs.umount("/flash")


def boot(old, new, what):
    """Power is back: the log has all it had, and perhaps the new entry; and it goes on."""
    found = kept()
    whole = [entry for _, inner in found for entry in inner]
    had = [entry for _, inner in old for entry in inner]
    has = [entry for _, inner in new for entry in inner]
    if what == "begin":  # the oldest file may be gone already
        assert whole in (had, has, has[:-1]), "begin"
    else:
        assert whole in (had, has), "add"
    ring = resumed()
    if ring.room < 4:
        ring.begin(b"first")
    else:
        ring.add(b"more")
    again = [entry for _, inner in kept() for entry in inner]
    assert again[-1] in (b"first", b"more")
    assert again[:-1] == whole[len(whole) - len(again) + 1 :]


def wear(lines, times):
    """Write everything so many times. Prints the erases of the worst block, and of all."""
    flash = Flash(WEAR_BLOCKS)
    mount(flash, True)
    os.mkdir("/flash/hub")
    for number in range(FILLED_BYTES // BLOCK):
        with open(f"/flash/{number}", "wb") as file:
            file.write(b"x" * BLOCK)
    flash.erases = [0] * WEAR_BLOCKS
    ring = resumed()
    for _ in range(times):
        for what, data in lines:
            if what == "save":
                with open(f"/flash/hub/record.{data[0]}", "wb") as file:
                    file.write(data[1:])
            else:
                put(ring, what, data)
    log_bytes = sum([os.stat(FOLDER + "/" + name)[6] for name in os.listdir(FOLDER)])
    print("worst", max(flash.erases))
    print("erases", sum(flash.erases))
    print("kept", log_bytes)


def read(path, saves):
    """Each operation of a file: what, and its bytes; a save's begin with the copy."""
    lines = []
    with open(path) as file:
        for line in file:
            what, data = line.split()
            if saves or what != "save":
                lines.append((what, bytes.fromhex(data)))
    return lines


if __name__ == "__main__":
    if sys.argv[1] == "cut":
        cut_everywhere(read(sys.argv[2], False), int(sys.argv[3]))
    else:
        wear(read(sys.argv[2], True), int(sys.argv[3]))
