"""Record and plan on littlefs, and a few bytes in RTC memory."""

import os
import sys

import fake_machine

MICROPYTHON = sys.implementation.name == "micropython"


class Flash:
    """A block device in memory. `cut_at`: power goes at that erase or program, counted from 1."""

    SIZE = 512
    BLOCKS = 64

    def __init__(self):
        self.data = bytearray(b"\xff" * (self.SIZE * self.BLOCKS))
        self.writes = 0
        self.cut_at = 0

    def readblocks(self, block, buf, offset=0):
        at = block * self.SIZE + offset
        buf[:] = self.data[at : at + len(buf)]
        return 0

    def writeblocks(self, block, buf, offset=0):
        self._count()
        at = block * self.SIZE + offset
        self.data[at : at + len(buf)] = buf
        return 0

    def _count(self):
        self.writes += 1
        if self.cut_at and self.writes >= self.cut_at:
            raise OSError(5)

    def ioctl(self, op, arg):
        if op == 4:
            return self.BLOCKS
        if op == 5:
            return self.SIZE
        if op == 6:
            self._count()
            at = arg * self.SIZE
            self.data[at : at + self.SIZE] = b"\xff" * self.SIZE
        return 0


def mounted(flash, fresh):
    """A store on littlefs on `flash`. Returns the store's class bound to its folder."""
    import vfs

    from evenclay.boards.drivers.store import FileStore

    if fresh:
        vfs.VfsLfs2.mkfs(flash)
    vfs.mount(vfs.VfsLfs2(flash), "/flash")
    if fresh:
        os.mkdir("/flash/hub")
    return FileStore("/flash/hub")


def unmount():
    import vfs

    vfs.umount("/flash")


def test_slots_and_copies_are_four_files():
    from evenclay.controller.ports import PLAN, RECORD

    store = mounted(Flash(), True)
    places = [(slot, copy) for slot in (RECORD, PLAN) for copy in (0, 1)]
    for slot, copy in places:
        assert store.read(slot, copy) == b""
    for slot, copy in places:
        store.write(slot, copy, bytes([slot, copy]) * 100)
    for slot, copy in places:
        assert store.read(slot, copy) == bytes([slot, copy]) * 100
    store.write(RECORD, 0, b"short")
    assert store.read(RECORD, 0) == b"short"
    unmount()


def test_a_cut_at_every_write_leaves_old_or_new_whole():
    from evenclay.controller.ports import RECORD

    flash = Flash()
    store = mounted(flash, True)
    store.write(RECORD, 0, b"a" * 200)
    store.write(RECORD, 1, b"b" * 200)
    unmount()
    kept = bytes(flash.data)
    cuts = 0
    while True:
        flash = Flash()
        flash.data[:] = kept
        store = mounted(flash, False)
        flash.writes, flash.cut_at = 0, cuts + 1
        cut = fake_machine.raises(OSError, store.write, RECORD, 0, b"c" * 200)
        flash.cut_at = 0
        unmount()
        store = mounted(flash, False)
        assert store.read(RECORD, 1) == b"b" * 200, cuts
        assert store.read(RECORD, 0) in (b"a" * 200, b"c" * 200), cuts
        unmount()
        if not cut:
            assert store_of(flash) == b"c" * 200
            break
        cuts += 1
    assert cuts >= 1


def store_of(flash):
    from evenclay.controller.ports import RECORD

    data = mounted(flash, False).read(RECORD, 0)
    unmount()
    return data


def test_a_full_flash_raises():
    from evenclay.controller.ports import RECORD

    store = mounted(Flash(), True)
    assert fake_machine.raises(OSError, store.write, RECORD, 0, b"x" * Flash.SIZE * Flash.BLOCKS)
    unmount()


def test_cache_outlives_a_reset_and_no_power_cut():
    world = fake_machine.power_on("esp32")
    import machine

    from evenclay.boards.drivers.note import Cache

    cache = Cache(machine.RTC())
    assert cache.read() == b""
    cache.write(b"because")
    world.restart(3)
    assert Cache(machine.RTC()).read() == b"because"
    cache.write(b"")
    assert cache.read() == b""
    cache.write(b"because")
    world.restart(1, power_cut=True)
    assert cache.read() == b""


def test_cache_refuses_whatever_is_not_as_written():
    world = fake_machine.power_on("esp32")
    import machine

    from evenclay.boards.drivers.note import Cache

    cache = Cache(machine.RTC())
    cache.write(b"because")
    good = world.memory
    for at in range(len(good)):
        world.memory = good[:at] + bytes([good[at] ^ 1]) + good[at + 1 :]
        assert cache.read() == b"", at
        world.memory = good[:at]
        assert cache.read() == b"", at
    world.memory = good + b"\0"
    assert cache.read() == b""
    assert fake_machine.raises(ValueError, cache.write, b"x" * 513)


def test_note_in_a_file():
    from evenclay.boards.drivers.note import FileNote

    path = "note.tmp"
    try:
        note = FileNote(path)
        assert note.read() == b""
        note.write(b"because")
        assert FileNote(path).read() == b"because"
        note.write(b"")
        assert FileNote(path).read() == b""
    finally:
        os.remove(path)


def test_only_a_file_that_is_not_there_is_empty():
    from evenclay.boards.drivers.store import FileStore
    from evenclay.controller.ports import NOTE, PLAN, RECORD

    for slot in (RECORD, PLAN, NOTE):
        assert FileStore("no_such_folder").read(slot, 0) == b""
    os.mkdir("folder.tmp")
    os.mkdir("folder.tmp/record.0")  # there, and not to be read
    try:
        assert fake_machine.raises(OSError, FileStore("folder.tmp").read, RECORD, 0)
    finally:
        os.rmdir("folder.tmp/record.0")
        os.rmdir("folder.tmp")


def test_a_marked_note_is_the_hubs_and_why_the_board_restarts():
    from evenclay.boards.drivers.note import NEW_PLAN, NOTHING, FileNote, Marked

    class Broken:
        def read(self):
            raise OSError(5)

        def write(self, data):
            raise OSError(5)

    path = "note.tmp"
    try:
        note = Marked(FileNote(path))
        assert (note.mark, note.told) == (NOTHING, b"")
        note.keep(b"1 1 0 x")
        assert (Marked(FileNote(path)).mark, Marked(FileNote(path)).told) == (NOTHING, b"1 1 0 x")
        note.keep(b"1 1 0 x", NEW_PLAN)
        again = Marked(FileNote(path))
        assert (again.mark, again.told) == (NEW_PLAN, b"1 1 0 x")
        assert Marked(FileNote(path)).mark == NOTHING  # a reason holds for one restart
    finally:
        os.remove(path)
    note = Marked(Broken())
    note.keep(b"x", NEW_PLAN)
    assert (note.mark, note.told) == (NOTHING, b"x")


LITTLEFS = (
    "test_slots_and_copies_are_four_files",
    "test_a_cut_at_every_write_leaves_old_or_new_whole",
    "test_a_full_flash_raises",
)
# CPython has no littlefs.
fake_machine.run_tests(
    {name: globals()[name] for name in dir() if MICROPYTHON or name not in LITTLEFS}
)
