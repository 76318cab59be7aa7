"""Objects on their way to another process of this program and back: pickled, their arrays beside them.

Only the server and the search's process that it starts itself speak this, over a private pipe and a folder that only
this user may open: what comes out of a pickle is as trustworthy as the program at the other end, which is this one.
Nothing that a user, a file or the network brings is ever read this way.

The arrays of a plan are tens of megabytes: they go out of band (pickle protocol 5, PEP 574) by a file in the folder
that is mapped, because a pipe would hand them over in a thousand pieces.
"""

from __future__ import annotations

import os
import pickle
from contextlib import suppress
from mmap import ACCESS_COPY, mmap
from pathlib import Path
from typing import IO, Any
from uuid import uuid4

LINE_UP = 64  # bytes; arrays begin on a cache line


class Unfit(Exception):
    """Something that was not sent whole."""


def send(value: Any, pipe: IO[bytes], folder: Path) -> None:
    """Put a parcel into a pipe, whole or not at all; its arrays into a file of the folder."""
    buffers: list[pickle.PickleBuffer] = []
    body = pickle.dumps(value, protocol=5, buffer_callback=buffers.append)
    name, places = "", [(0, 0)] * len(buffers)
    if any(buffer.raw().nbytes for buffer in buffers):
        places.clear()
        name = uuid4().hex
        path = folder / name
        try:
            with path.open("wb") as file:
                for buffer in buffers:
                    file.write(bytes(-file.tell() % LINE_UP))
                    places.append((file.tell(), file.write(buffer.raw())))
        except OSError:  # a full disk is not kept full
            path.unlink(missing_ok=True)
            raise
    whole = pickle.dumps((name, places, body), protocol=5)
    pipe.write(len(whole).to_bytes(8, "big") + whole)
    pipe.flush()


def clear(folder: Path) -> None:
    """Take the folder away, with parcels that nobody fetched; one that holds anything but files stays."""
    with suppress(OSError):
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()


def receive(pipe: IO[bytes], folder: Path) -> Any:
    """The next parcel of a pipe; ``EOFError`` where it ends, ``Unfit`` where it is none."""
    head = pipe.read(8)
    size = int.from_bytes(head, "big")
    whole = pipe.read(size) if len(head) == 8 else b""
    if len(head) < 8 or len(whole) < size:
        raise EOFError
    try:
        name, places, body = pickle.loads(whole)
        blob: bytearray | mmap = bytearray()
        if name:
            path = folder / name
            with path.open("rb") as file:
                # mapped: read where it is used, written to in private; elsewhere a mapped file cannot be taken away
                blob = mmap(file.fileno(), 0, access=ACCESS_COPY) if os.name == "posix" else bytearray(file.read())
            path.unlink()
        if any(at + size > len(blob) for at, size in places):
            raise Unfit("the file of arrays was cut off")
        view = memoryview(blob)
        return pickle.loads(body, buffers=[view[at : at + size] for at, size in places])
    except (pickle.UnpicklingError, ValueError, TypeError, LookupError, AttributeError, ImportError, OSError) as error:
        raise Unfit(f"not a whole parcel: {error}") from error
