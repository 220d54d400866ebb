"""Putting a file in the place of another: whole or not at all, the old one kept, nothing open elsewhere overwritten."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pricing.spreadsheet.package.book import NotKept

_WRITING = ".refreshing "
_STALE_S = 3600  # a file half-written by a refresh that was killed is swept away after so long


def open_elsewhere(path: Path) -> str | None:
    """The program that seems to have the file open, by the mark it leaves beside it; None for none."""
    if (path.parent / f"~${path.name}").exists():
        return "Excel"
    if (path.parent / f".~lock.{path.name}#").exists():
        return "LibreOffice"
    return None


def must_be_closed(path: Path) -> None:
    """NotKept while another program has the file open: it would save over what is written, or lose it."""
    program = open_elsewhere(path)
    if program is not None:
        raise NotKept(f"it seems to be open in {program}. Close it there and try again.")


def backup_name(path: Path, now: dt.datetime) -> Path:
    """A free name for the file as it is now: "shop backups/shop.2026-11-25-193000.xlsx"."""
    folder = path.parent / f"{path.stem} backups"
    stem = f"{path.stem}.{now:%Y-%m-%d-%H%M%S}"
    number, free = 1, folder / f"{stem}{path.suffix}"
    while free.exists():
        number += 1
        free = folder / f"{stem} {number}{path.suffix}"
    return free


def replace_file(path: Path, content: bytes, old: bytes) -> Path:
    """Put `content` under the name `path`, which holds `old`; the backup of `old`.

    Written beside and moved into place, so that at every moment the name leads to the old file or to the new one, and
    never to the new one before the backup is there. NotKept when the file is open elsewhere or no longer holds `old`;
    OSError when the folder cannot be written or the disk is full, the old file as it was.
    """
    path = path.resolve()
    _sweep(path)
    with _written_beside(path, content) as name:
        shutil.copymode(path, name)
        must_be_closed(path)
        if path.read_bytes() != old:
            raise NotKept("it was saved by another program in the meantime. Try again.")
        backup = _kept(path)
        try:
            os.replace(name, path)
        except PermissionError as error:  # Windows, while another program holds it
            raise NotKept("another program holds it. Close it there and try again.") from error
    _sync_folder(path.parent)
    return backup


def put_file(path: Path, content: bytes, old: bytes, out: Path | None = None) -> list[str]:
    """Put `content` in the place of the file at `path`, which holds `old`, or into a new file at `out`; what the owner
    should hear of it. Raises as replace_file does."""
    if out is not None:
        write_new(out, content)
        return []
    return [f"The file as it was before: {replace_file(path, content, old)}"]


def write_new(path: Path, content: bytes) -> None:
    """Write a new file, whole or not at all."""
    with _written_beside(path, content) as name:
        os.chmod(name, 0o666 & ~umask())
        os.replace(name, path)


@contextmanager
def _written_beside(path: Path, content: bytes) -> Iterator[str]:
    """Name of a new file beside `path` that holds `content`, safe on the disk; taken away where the block fails."""
    handle, name = tempfile.mkstemp(prefix=f"{_WRITING}{path.name} ", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        yield name
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def umask() -> int:
    """Which rights new files do not get."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _kept(path: Path) -> Path:
    backup = backup_name(path, dt.datetime.now())
    backup.parent.mkdir(exist_ok=True)
    try:
        os.link(path, backup)  # the old file itself under a second name: there at once and whole
    except OSError:  # a file system without second names
        half = backup.with_name(f"{_WRITING}{backup.name}")
        shutil.copy2(path, half)
        with half.open("rb+") as file:
            os.fsync(file.fileno())
        os.replace(half, backup)
    _sync_folder(backup.parent)
    return backup


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sweep(path: Path) -> None:
    for one in path.parent.glob(f"{_WRITING}*"):
        if one.name.startswith(f"{_WRITING}{path.name} ") and time.time() - one.stat().st_mtime > _STALE_S:
            one.unlink(missing_ok=True)
