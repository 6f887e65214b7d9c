"""Writing: whole files or none, whoever else writes there and however full the disk is."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from evenclay.sim import files
from evenclay.sim.section import spin_up
from evenclay.tools.cli import commands as cli

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sim" / "demo"
HOUSE, WEATHER = str(DEMO / "property.toml"), str(DEMO / "weather.csv")
TIMES, NAMES, SIZE = 300, ("a.txt", "b.txt"), 20_000

WRITER = f"""
import sys
from pathlib import Path
from evenclay.sim import files

folder, letter = Path(sys.argv[1]), sys.argv[2]
for number in range({TIMES}):
    files.write({{folder / name: letter * ({SIZE} + number) for name in {NAMES!r}}})
"""

FULL = """
import resource, signal, sys
from evenclay.tools.cli import main

signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv.pop(1)),) * 2)
main()
"""

COMMANDS = {
    "compile": ("compile", HOUSE, "--out", "{out}/plan.0"),
    "bundle": ("bundle", HOUSE, "--board", "desktop", "--out", "{out}"),
    "invent": ("invent", "--weather", WEATHER, "--latitude", "47", "--out", "{out}/years.csv"),
    "replay": ("replay", HOUSE, "--weather", WEATHER, "--to", "2017-01-09", "--out", "{out}"),
}

# Mounts a file system of so many kB at a folder, fills it but for so many kB, runs a command and
# prints its status, its stderr and what is left beside the filler.
ON_A_SMALL_DISK = """
set -e
mount -t tmpfs -o size=$1k none "$3"
head -c $(($1 - $2))k /dev/zero > "$3/filler"
shift 2
place=$1
shift
status=0
"$@" 2>"$place.err" >"$place.out" || status=$?
echo $status
find "$place" -mindepth 1 ! -name filler
"""


def tree(folder: Path) -> dict[str, bytes]:
    """What lies below a folder."""
    found = [path for path in folder.rglob("*") if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def run(name: str, out: Path) -> tuple[int, str]:
    """A command's exit status and what it said on stderr."""
    result = CliRunner().invoke(cli.app, [part.format(out=out) for part in COMMANDS[name]])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stderr


def test_two_processes_never_mix_files(tmp_path: Path) -> None:
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path), letter], cwd=ROOT)
        for letter in "xy"
    ]
    seen, reads = set(), 0
    while any(writer.poll() is None for writer in writers):
        for name in NAMES:
            if (tmp_path / name).exists():
                text = (tmp_path / name).read_text("utf-8")
                assert len(set(text)) == 1 and len(text) >= SIZE
                seen.add(text[0])
                reads += 1
    assert [writer.returncode for writer in writers] == [0, 0]
    assert reads > 0 and seen <= {"x", "y"}
    assert sorted(tree(tmp_path)) == sorted(NAMES)
    assert all(len(data) == SIZE + TIMES - 1 for data in tree(tmp_path).values())


def fill_up(monkeypatch: pytest.MonkeyPatch, left: int) -> None:
    """Let the disk take so many files more, and no other."""
    sync = os.fsync

    def full(descriptor: int) -> None:
        nonlocal left
        if left == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        left -= 1
        sync(descriptor)

    monkeypatch.setattr(os, "fsync", full)


def named(said: str, reason: int) -> str:
    """The file that the one line of stderr names, progress apart."""
    (line,) = [line for line in said.splitlines() if " of 4: " not in line]
    name, _, why = line.rpartition(": ")
    assert why == os.strerror(reason)
    return name


@pytest.mark.parametrize("name", ["bundle", "compile", "invent"])
def test_a_disk_that_fills_up_changes_and_leaves_nothing(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full at the first file, at the second and at the last; and then it is not."""
    out = tmp_path / "out"
    assert run(name, out)[0] == 0
    made = tree(out)
    for path in made:
        if path != "files.json":  # by which a bundle's folder is known
            (out / path).write_bytes(b"old")
    old = tree(out)
    for left in sorted({0, min(1, len(made) - 1), len(made) - 1}):
        with monkeypatch.context() as patch:
            fill_up(patch, left)
            status, err = run(name, out)
        assert status == 2
        assert Path(named(err, errno.ENOSPC)).relative_to(out).as_posix() in made
        assert tree(out) == old
    assert run(name, out)[0] == 0
    assert tree(out) == made


def test_a_replay_on_a_full_disk_changes_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "summary.json").write_text("old", "utf-8")
    monkeypatch.setattr(spin_up, "_write", lambda *_: None)  # so that none but its own are counted
    fill_up(monkeypatch, 3)
    status, err = run("replay", tmp_path)
    assert (status, named(err, errno.ENOSPC)) == (2, str(tmp_path / "report.html"))
    assert tree(tmp_path) == {"summary.json": b"old"}


@pytest.fixture(scope="module")
def alone() -> tuple[str, ...]:
    """What runs a command among mounts of its own; skips where that is not allowed."""
    command = ("unshare", "--user", "--map-root-user", "--mount")
    try:
        done = subprocess.run([*command, "mount", "-t", "tmpfs", "none", "/mnt"], check=False)
    except OSError:
        pytest.skip("no unshare here")
    if done.returncode:
        pytest.skip("no mounts of one's own here")
    return command


FULL_DISKS = (
    ("compile", 0),
    ("invent", 0),
    ("invent", 20),
    ("bundle", 8),
    ("bundle", 48),
    pytest.param("replay", 4, marks=pytest.mark.slow),
    ("replay", 64),
)


@pytest.mark.parametrize(("name", "left_kb"), FULL_DISKS)
def test_a_disk_that_is_full_in_truth(
    name: str, left_kb: int, alone: tuple[str, ...], tmp_path: Path
) -> None:
    """A real file system of 256 kB, most of it taken."""
    disk = tmp_path / "disk"
    disk.mkdir()
    out = disk / "out"
    alone += ("sh", "-c", ON_A_SMALL_DISK, "sh", "256", str(left_kb), str(disk))
    command = [part.format(out=out) for part in COMMANDS[name]]
    done = subprocess.run(
        [*alone, sys.executable, "-m", "evenclay.tools.cli", *command],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr, done.stdout) == (0, "", "2\n")
    said = Path(f"{disk}.err").read_text("utf-8")
    assert Path(named(said, errno.ENOSPC)).is_relative_to(out)


def test_folders_made_for_nothing_go_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "there").mkdir()
    with monkeypatch.context() as patch:
        fill_up(patch, 1)
        with pytest.raises(OSError, match="No space"):
            files.write({tmp_path / "there" / "a": "", tmp_path / "new" / "deep" / "b": ""})
        status, err = run("bundle", tmp_path / "bundle")
    assert (status, len(err.splitlines())) == (2, 1)
    assert list(tmp_path.rglob("*")) == [tmp_path / "there"]


def test_a_real_limit_is_one_line_that_names_the_file(tmp_path: Path) -> None:
    arguments = [part.format(out=tmp_path) for part in COMMANDS["invent"]]
    done = subprocess.run(
        [sys.executable, "-c", FULL, "5000", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert named(done.stderr, errno.EFBIG) == str(tmp_path / "years.csv")
    assert tree(tmp_path) == {}


@pytest.mark.parametrize("name", ["compile", "invent"])
def test_a_folder_in_a_file_s_place_stays(name: str, tmp_path: Path) -> None:
    place = tmp_path / Path(COMMANDS[name][-1]).name
    place.mkdir()
    status, err = run(name, tmp_path)
    assert status == 2
    assert err == f"{place}: found a folder or a device, allowed a file\n"
    assert place.is_dir() and tree(tmp_path) == {}


def test_a_device_is_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(OSError, match="allowed a file"):
        files.write({pipe: "text"})
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "there" / "file")
    files.write({link: "text"})
    assert link.is_symlink() and tree(tmp_path / "there") == {"file": b"text"}


def test_new_files_are_as_open_as_others(tmp_path: Path) -> None:
    files.write({tmp_path / "new" / "ours": "é"})
    (tmp_path / "theirs").write_text("text", "utf-8")
    assert (tmp_path / "new" / "ours").stat().st_mode == (tmp_path / "theirs").stat().st_mode
    assert (tmp_path / "new" / "ours").read_bytes() == "é".encode()


@pytest.mark.skipif(sys.platform == "win32", reason="found no modes of this kind on Windows")
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o666, 0o755, 0o400])
def test_a_file_stays_as_open_as_it_was(mode: int, tmp_path: Path) -> None:
    file, link = tmp_path / "file", tmp_path / "link"
    file.write_text("old", "utf-8")
    file.chmod(mode)
    link.symlink_to(file)
    for path in (file, link):
        files.write({path: path.name, tmp_path / "new": "text"})
        assert file.read_text("utf-8") == path.name
        assert stat.S_IMODE(file.stat().st_mode) == mode
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) & 0o111 == 0


@pytest.mark.skipif(sys.platform == "win32", reason="found no modes of this kind on Windows")
def test_what_nobody_else_may_read_is_never_open_to_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("old", "utf-8")
    (tmp_path / "file").chmod(0o600)
    modes = []
    sync = os.fsync

    def looked_at(descriptor: int) -> None:
        modes.append(stat.S_IMODE(os.fstat(descriptor).st_mode))
        sync(descriptor)

    monkeypatch.setattr(os, "fsync", looked_at)
    files.write({tmp_path / "file": "text"})
    assert modes == [0o600]


def test_an_interrupted_writer_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        files.write({tmp_path / "file": "text"})
    assert tree(tmp_path) == {}


def test_a_pipe_has_no_hash(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"abc")
    os.mkfifo(tmp_path / "pipe")
    # Source: FIPS 180-4's example for "abc".
    assert str(files.sha256(tmp_path / "file")).startswith("ba7816bf8f01cfea414140de5dae2223")
    assert files.sha256(tmp_path / "pipe") is None
