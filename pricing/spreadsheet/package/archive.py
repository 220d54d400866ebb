"""A zip file entry by entry: what is not replaced keeps its compressed bytes, its place, its date and its flags.

Record layouts from the published .ZIP File Format Specification (APPNOTE 6.3.x, sections 4.3.7, 4.3.12, 4.3.16).
"""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import NamedTuple

_DIRECTORY_RECORD, _END_RECORD = b"PK\x01\x02", b"PK\x05\x06"
_RECORD_SIZE, _END_SIZE = 46, 22
_OFFSET_AT = 42  # of the local header's offset within a directory record
_TOO_LARGE = 0xFFFFFFFF


class _Entry(NamedTuple):
    name: str
    record: bytes  # of the central directory
    content: bytes  # local header, compressed bytes, descriptor


@dataclass(frozen=True)
class Archive:
    """The entries of a zip file in their order, and its comment."""

    entries: tuple[_Entry, ...]
    comment: bytes
    _zip: zipfile.ZipFile

    @classmethod
    def of(cls, data: bytes) -> Archive:
        """Raises zipfile.BadZipFile for what is no zip, has one name twice or needs the 64-bit extension."""
        opened = zipfile.ZipFile(io.BytesIO(data))
        end_at = data.rindex(_END_RECORD)
        count, size, at, comment_size = struct.unpack("<HIIH", data[end_at + 10 : end_at + _END_SIZE])
        if at == _TOO_LARGE or count != len(opened.infolist()) or at + size > end_at:
            raise zipfile.BadZipFile("a zip of the 64-bit kind, or with bytes before it")
        directory_at, found = at, []
        for info in opened.infolist():
            record = data[at : at + _RECORD_SIZE]
            lengths = struct.unpack("<HHH", record[28:34])
            at += _RECORD_SIZE + sum(lengths)
            if record[:4] != _DIRECTORY_RECORD or info.compress_size == _TOO_LARGE:
                raise zipfile.BadZipFile("a directory record that does not fit")
            found.append((info.filename, data[at - _RECORD_SIZE - sum(lengths) : at], info.header_offset))
        if len({name for name, _, _ in found}) != len(found):
            raise zipfile.BadZipFile("two parts of one name")
        starts = sorted(offset for _, _, offset in found) + [directory_at]
        end_of = dict(zip(starts, starts[1:]))
        entries = tuple(_Entry(name, record, data[start : end_of[start]]) for name, record, start in found)
        return cls(entries, data[end_at + _END_SIZE : end_at + _END_SIZE + comment_size], opened)

    @property
    def names(self) -> list[str]:
        """Names of all parts, in order."""
        return [entry.name for entry in self.entries]

    def __contains__(self, name: str) -> bool:
        return name in self._zip.NameToInfo

    def read(self, name: str) -> bytes:
        """One part, unpacked. KeyError when there is none."""
        return self._zip.read(name)

    def with_parts(self, changed: Mapping[str, bytes], removed: Collection[str] = ()) -> bytes:
        """The file with `changed` parts in place of theirs (new ones last) and without `removed`."""
        packed = {entry.name: entry for entry in Archive.of(self._pack(changed)).entries} if changed else {}
        kept = [packed.pop(entry.name, entry) for entry in self.entries if entry.name not in removed]
        whole, directory = bytearray(), bytearray()
        for entry in (*kept, *packed.values()):
            record = bytearray(entry.record)
            record[_OFFSET_AT : _OFFSET_AT + 4] = struct.pack("<I", len(whole))
            whole += entry.content
            directory += record
        count = len(kept) + len(packed)
        end = struct.pack("<4sHHHHIIH", _END_RECORD, 0, 0, count, count, len(directory), len(whole), len(self.comment))
        return bytes(whole + directory) + end + self.comment

    def _pack(self, parts: Mapping[str, bytes]) -> bytes:
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as new:
            for name, content in parts.items():
                old = self._zip.NameToInfo.get(name)
                entry = zipfile.ZipInfo(name, old.date_time if old else (1980, 1, 1, 0, 0, 0))
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = old.external_attr if old else 0o600 << 16
                new.writestr(entry, content)
        return packed.getvalue()
