"""A refresh that is killed, or meets a full disk, a folder it may not write, an open file: the old workbook or the new
one, whole, and the backup."""

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from spreadsheet.package.corpus import makers
from spreadsheet.package.package_check import findings
from spreadsheet.package.stand_in_results import results

from pricing.spreadsheet.package.book import NotKept
from pricing.spreadsheet.package.graft import grafted
from pricing.spreadsheet.package.safe_write import backup_name, replace_file
from pricing.spreadsheet.refreshing import put_results

ROOT = Path(__file__).parents[3]
@pytest.fixture
def shop_book(tmp_path):
    """A workbook with a chart, and two files of results for it."""
    path = tmp_path / "shop.xlsx"
    makers()["chart column.xlsx"](path)
    for pieces in (3, 30):
        (tmp_path / f"results {pieces}").write_bytes(results(pieces))
    return path


def refresh_for_ever(path, files, writing_only):
    """Refresh with one file of results after the other, until killed; or only write what such refreshes gave."""
    try:
        made = [grafted(path.read_bytes(), one)[0] for one in files] if writing_only else []
        for number in range(1_000_000):
            turn = number % len(files)
            if writing_only:
                replace_file(path, made[turn], path.read_bytes())
            else:
                put_results(path, path.read_bytes(), files[turn])
    finally:
        os._exit(1)


def kill_at_random(path, kills, seed):
    """Kill a refreshing process `kills` times, every second time one that is mostly busy writing; every file it may
    leave under the name or as a backup is a whole one."""
    files = [path.parent / "results 3", path.parent / "results 30"]
    chance, whole = random.Random(seed), {path.read_bytes()}
    for one in files:  # every file a refresh can make of this one: with either size of results first or last
        content = grafted(path.read_bytes(), one.read_bytes())[0]
        whole.add(content)
        for other in files * 2:
            content = grafted(content, other.read_bytes())[0]
            whole.add(content)
    met, during = set(), 0
    for number in range(kills):
        child = os.fork()
        if child == 0:
            refresh_for_ever(path, [one.read_bytes() for one in files], number % 2 == 1)
        time.sleep(chance.uniform(0, 0.6))
        os.kill(child, signal.SIGKILL)
        assert os.WIFSIGNALED(os.waitpid(child, 0)[1]), "it stopped by itself"
        now = path.read_bytes()
        backups = list((path.parent / "shop backups").glob("*.xlsx"))
        assert now in whole, "the workbook is neither an old nor a new one"
        assert all(backup.read_bytes() in whole for backup in backups)
        during += any(one.name.startswith(".refreshing ") for one in path.parent.iterdir())
        if now not in met and met:
            assert backups, "a new workbook and no backup of the old one"
        met.add(now)
        for one in [*backups, *path.parent.rglob(".refreshing *")]:
            one.unlink()
    return during, met


def test_killed_at_any_moment(shop_book):
    """Twenty kills: always a whole workbook, old or new."""
    kill_at_random(shop_book, 20, seed=7)
    assert findings(shop_book) == []


@pytest.mark.slow
def test_killed_two_hundred_times(shop_book):
    """Two hundred kills, some of them in the middle of writing."""
    during, met = kill_at_random(shop_book, 200, seed=11)
    print(f"200 kills, {during} while the new file was being written; {len(met)} different whole workbooks met")
    assert during > 0 and len(met) > 1 and findings(shop_book) == []


# Moments of a refresh where a kill would do most harm: before the function runs, the process kills itself.
MOMENTS = [(os, "fsync"), (os, "link"), (os, "replace"), (shutil, "copymode")]


def refresh_and_die(path, moment, late):
    """A refresh that is killed right before, or right after, the first call of a function."""
    module, name = moment
    plain = getattr(module, name)

    def fatal(*given, **more):
        if late:
            plain(*given, **more)
        os.kill(os.getpid(), signal.SIGKILL)

    setattr(module, name, fatal)
    put_results(path, path.read_bytes(), (path.parent / "results 3").read_bytes())
    os._exit(1)


@pytest.mark.parametrize("moment", MOMENTS, ids=lambda moment: moment[1])
def test_killed_at_the_worst_moments(shop_book, moment):
    """Killed right before or right after each step that touches the folder."""
    before = shop_book.read_bytes()
    after = grafted(before, (shop_book.parent / "results 3").read_bytes())[0]
    for late in (False, True):
        shop_book.write_bytes(before)
        child = os.fork()
        if child == 0:
            refresh_and_die(shop_book, moment, late)
        assert os.WTERMSIG(os.waitpid(child, 0)[1]) == signal.SIGKILL
        now = shop_book.read_bytes()
        assert now in (before, after)
        backups = [one.read_bytes() for one in (shop_book.parent / "shop backups").glob("*.xlsx")]
        assert now == before or before in backups


def test_disk_full(shop_book):
    """No room for the new file: the error is the system's, the old file is there, nothing is left lying about."""
    before, there = shop_book.read_bytes(), sorted(shop_book.parent.iterdir())
    owner_limit = resource.getrlimit(resource.RLIMIT_FSIZE)
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, owner_limit[1]))
        with pytest.raises(OSError, match="File too large"):
            put_results(shop_book, before, results(30))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, owner_limit)
        signal.signal(signal.SIGXFSZ, old)
    assert shop_book.read_bytes() == before and sorted(shop_book.parent.iterdir()) == there


# The command on a workbook of its own, with the results at hand, so that only the writing is tried.
COMMAND = """
import sys
from pathlib import Path
import pricing.command_line.commands as commands
from pricing.command_line import main
from pricing.spreadsheet import refreshing
from spreadsheet.stand_in import StandInModel
book, results, *out = sys.argv[1:]
def priced(path):
    shop = commands.read(path)
    return shop, StandInModel(shop.sales), None
commands.priced, commands.record_of, commands.tell = priced, lambda *given: None, lambda *given: None
refreshing.fresh_results = lambda *given, **more: Path(results).read_bytes()
sys.exit(main(["refresh", book, *out]))
"""


def run_command(book, *out, limits=()):
    """The command in a process of its own, without the rights that root has over every file."""
    from spreadsheet.small_shop import write_small_shop

    write_small_shop(book)
    plain = ["setpriv", "--inh-caps=-all", "--bounding-set=-all"] if os.geteuid() == 0 else []
    results_file = book.parent.parent / "results"
    results_file.write_bytes(results(30))
    book.parent.chmod(0o555 if not limits else 0o755)
    limit = (lambda: resource.setrlimit(*limits)) if limits else None
    return subprocess.run([*plain, sys.executable, "-c", COMMAND, str(book), str(results_file), *out], cwd=ROOT,
                          env={**os.environ, "PYTHONPATH": str(ROOT / "tests")}, capture_output=True, text=True,
                          preexec_fn=limit)


@pytest.mark.parametrize("out", [False, True])
def test_a_folder_that_may_not_be_written(tmp_path, out):
    """Status 2, what failed and what to do; the old file as it was, and nothing beside it."""
    book = tmp_path / "books" / "sold.xlsx"
    book.parent.mkdir()
    run = run_command(book, *(["--out", str(book.parent / "new.xlsx")] if out else []))
    assert run.returncode == 2 and "Traceback" not in run.stderr
    assert "Permission denied" in run.stderr and "as it was" in run.stderr
    assert [one.name for one in book.parent.iterdir()] == ["sold.xlsx"] and findings(book) == []
    book.parent.chmod(0o755)


def test_the_command_on_a_full_disk(tmp_path):
    """Status 2 too, with the system's own words."""
    book = tmp_path / "books" / "sold.xlsx"
    book.parent.mkdir()
    run = run_command(book, limits=(resource.RLIMIT_FSIZE, (10_000, 10_000)))
    assert run.returncode == 2 and "File too large" in run.stderr and "as it was" in run.stderr
    assert [one.name for one in book.parent.iterdir()] == ["sold.xlsx"] and findings(book) == []


@pytest.mark.parametrize("mark, program", [("~$shop.xlsx", "Excel"), (".~lock.shop.xlsx#", "LibreOffice")])
def test_open_elsewhere(shop_book, mark, program):
    """The mark a spreadsheet program leaves beside an open file stops the refresh before anything is written."""
    before = shop_book.read_bytes()
    (shop_book.parent / mark).touch()
    there = sorted(shop_book.parent.iterdir())
    with pytest.raises(NotKept, match=f"open in {program}. Close it there"):
        put_results(shop_book, before, results(3))
    assert shop_book.read_bytes() == before and sorted(shop_book.parent.iterdir()) == there


def test_saved_in_the_meantime(shop_book):
    """Saved by its owner while the results were computed: his file stays."""
    before = shop_book.read_bytes()
    later = grafted(before, results(3))[0]
    shop_book.write_bytes(later)
    with pytest.raises(NotKept, match="saved by another program in the meantime"):
        put_results(shop_book, before, results(30))
    assert shop_book.read_bytes() == later


def test_backups_are_dated_and_never_replaced(tmp_path):
    """Two refreshes in one second: two backups."""
    import datetime as dt

    now = dt.datetime(2026, 11, 25, 19, 30)
    first = backup_name(tmp_path / "my shop.xlsx", now)
    assert first == tmp_path / "my shop backups" / "my shop.2026-11-25-193000.xlsx"
    first.parent.mkdir()
    first.touch()
    assert backup_name(tmp_path / "my shop.xlsx", now).name == "my shop.2026-11-25-193000 2.xlsx"


def test_a_file_system_without_second_names(tmp_path, monkeypatch):
    """Where a file cannot have a second name, the backup is a copy."""
    path = tmp_path / "shop.xlsx"
    path.write_bytes(b"old")

    def refused(*given):
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    backup = replace_file(path, b"new", b"old")
    assert backup.read_bytes() == b"old" and path.read_bytes() == b"new"
    assert [one.name for one in backup.parent.iterdir()] == [backup.name]


def test_rights_and_links_stay(tmp_path):
    """The new file has the old one's rights; a link still leads to it."""
    path, link = tmp_path / "shop.xlsx", tmp_path / "desk.xlsx"
    path.write_bytes(b"old")
    path.chmod(0o640)
    link.symlink_to(path)
    replace_file(link, b"new", b"old")
    assert link.is_symlink() and path.read_bytes() == b"new" and path.stat().st_mode & 0o777 == 0o640


def test_what_a_killed_refresh_left_is_swept_away_later(tmp_path):
    """A half-written file of an hour ago goes, a new one and other people's files stay."""
    path = tmp_path / "shop.xlsx"
    path.write_bytes(b"old")
    for name in (".refreshing shop.xlsx abc", ".refreshing other.xlsx abc", "shop.xlsx~"):
        (tmp_path / name).touch()
        os.utime(tmp_path / name, (0, 0))
    (tmp_path / ".refreshing shop.xlsx new").touch()
    replace_file(path, b"new", b"old")
    assert not (tmp_path / ".refreshing shop.xlsx abc").exists()
    for name in (".refreshing other.xlsx abc", "shop.xlsx~", ".refreshing shop.xlsx new"):
        assert (tmp_path / name).exists()
