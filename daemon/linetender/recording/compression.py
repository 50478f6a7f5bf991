"""Complete files are compressed (gzip) and read back as if they were not."""

import gzip
import os
import shutil
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from linetender.recording.disk_file import MODE, sync_folder

GZIP_SUFFIX = ".gz"

_GZIP_MAGIC = b"\x1f\x8b"
_GZIP_WINDOW = 31  # of zlib: the largest window, with the header of gzip
_COPIED_AT_ONCE = 1 << 18


def pieces_of(file: BinaryIO, piece_bytes: int) -> Iterator[bytes]:
    """Yield the content of a file, unpacked if it is compressed, in bounded memory.

    A compressed file that breaks off gives what can be had of it.

    Args:
        file: Open, at its beginning.
        piece_bytes: Largest size of a piece.

    Raises:
        zlib.error: the compressed data is damaged.
    """
    is_compressed = file.read(len(_GZIP_MAGIC)) == _GZIP_MAGIC
    file.seek(0)
    if not is_compressed:
        while piece := file.read(piece_bytes):
            yield piece
        return
    unpacker = zlib.decompressobj(wbits=_GZIP_WINDOW)
    packed = file.read(piece_bytes)
    while packed:
        piece = unpacker.decompress(packed, piece_bytes)
        packed = unpacker.unconsumed_tail
        if unpacker.eof:
            packed = unpacker.unused_data
            unpacker = zlib.decompressobj(wbits=_GZIP_WINDOW)
        if piece:
            yield piece
        packed = packed or file.read(piece_bytes)


def compress_file(path: Path) -> Path:
    """Replace a file by its compressed form, of the same age and mode 0600.

    A power cut leaves one of the two, whole, or both: do it again then.

    Returns:
        The compressed file.

    Raises:
        OSError: the disk refuses; the file is untouched.
    """
    packed = path.with_name(path.name + GZIP_SUFFIX)
    temporary = path.with_name(path.name + ".new")
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, MODE)
        with os.fdopen(descriptor, "wb") as file, path.open("rb") as source:
            with gzip.GzipFile("", "wb", fileobj=file, mtime=0) as packer:
                shutil.copyfileobj(source, packer, _COPIED_AT_ONCE)
            file.flush()
            os.fsync(file.fileno())
        changed = path.stat()
        os.utime(temporary, ns=(changed.st_atime_ns, changed.st_mtime_ns))
        temporary.replace(packed)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)
    path.unlink()
    return packed
