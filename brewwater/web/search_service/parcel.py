"""Objects of this program on their way to another of its processes and back: JSON, and their arrays beside it.

Only classes of this package are made again, from their state and by no call but their own ``__setstate__``: whatever a
parcel holds, opening it runs no code of the sender's choosing. An object or an array that is used in several places is
one again.

``send`` and ``receive`` carry parcels over a pipe, one a line. The arrays of a plan are tens of megabytes: they go by a
file in a folder that both know, because a pipe would hand them over in a thousand pieces.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import sys
from contextlib import suppress
from decimal import Decimal
from enum import Enum
from mmap import ACCESS_COPY, mmap
from pathlib import Path
from typing import IO, Any
from uuid import uuid4

import numpy as np
from numpy.typing import NDArray

HOME = "brewwater"
AS_THEY_ARE = (str, int, float, bool, type(None))
MANY: dict[str, type] = {"tuple": tuple, "list": list, "set": set, "frozenset": frozenset}
NOT_BY_STATE = (BaseException, Enum, str, int, float, dict, *MANY.values())
LINE_UP = 16  # bytes; arrays begin where every type may


class Unfit(Exception):
    """Something that cannot be sent, or that was not sent whole."""


class _Packer:
    def __init__(self) -> None:
        self.objects: list[list[Any]] = []
        self.arrays: list[NDArray[Any]] = []
        self.size = 0
        self._places: dict[int, int | None] = {}
        self._alive: list[object] = []  # so that no other object gets the identity of one that was packed

    def pack(self, value: Any) -> Any:
        kind = type(value)
        if kind in AS_THEY_ARE:
            return value
        if kind in MANY.values():
            return [kind.__name__, [self.pack(one) for one in value]]
        if kind is dict:
            return ["dict", [[self.pack(k), self.pack(v)] for k, v in value.items()]]
        if kind is slice:
            return ["slice", [self.pack(value.start), self.pack(value.stop), self.pack(value.step)]]
        if kind is Decimal:
            return ["decimal", str(value)]
        if kind is dt.date:
            return ["date", value.isoformat()]
        if kind is bytes:
            return ["bytes", value.hex()]
        if isinstance(value, np.generic):
            return ["scalar", self.pack(np.asarray(value))]
        return ["@", self._once(value)]

    def _once(self, value: Any) -> int:
        if id(value) not in self._places:
            self._places[id(value)] = None
            self._alive.append(value)
            packed = self._array(value) if type(value) is np.ndarray else self._object(value)
            self._places[id(value)] = len(self.objects)
            self.objects.append(packed)
        place = self._places[id(value)]
        if place is None:
            raise Unfit(f"{type(value).__name__} holds itself")
        return place

    def _array(self, value: NDArray[Any]) -> list[Any]:
        if value.dtype.hasobject or value.dtype.names:
            raise Unfit("an array of Python objects or of records")
        whole = np.ascontiguousarray(value)
        at = -(-self.size // LINE_UP) * LINE_UP
        self.arrays.append(whole)
        self.size = at + whole.nbytes
        return ["array", whole.dtype.str, list(value.shape), at, value.flags.writeable]

    def _object(self, value: Any) -> list[Any]:
        kind = type(value)
        name = f"{kind.__module__}:{kind.__qualname__}"
        if _class(name) is not kind:
            raise Unfit(f"{name} is another class of that name")
        return ["object", name, self.pack(value.__getstate__())]


def _class(name: str) -> type:
    """The class of that name. Only one of this package's own that is loaded, and no container or text by descent."""
    module, _, path = name.partition(":")
    found: Any = sys.modules.get(module) if module.partition(".")[0] == HOME else None
    for part in path.split("."):
        found = getattr(found, "__dict__", {}).get(part)
    if not isinstance(found, type) or found.__module__ != module or issubclass(found, NOT_BY_STATE):
        raise Unfit(f"{name} is not a class that is sent")
    return found


def _again(kind: type, state: Any) -> Any:
    made: Any = object.__new__(kind)
    if hasattr(kind, "__setstate__"):
        made.__setstate__(state)
    else:
        for fields in state if isinstance(state, tuple) else (state,):  # attributes; or these, and those in slots
            for field, value in (fields or {}).items():
                object.__setattr__(made, field, value)
    return made


class _Opener:
    def __init__(self, blob: bytearray | mmap) -> None:
        self._blob = blob
        self.made: list[Any] = []

    def open(self, packed: Any) -> Any:
        if not isinstance(packed, list):
            return packed
        kind, value = packed
        if kind in MANY:
            return MANY[kind](self.open(one) for one in value)
        if kind == "dict":
            return {self.open(k): self.open(v) for k, v in value}
        if kind == "slice":
            return slice(*(self.open(one) for one in value))
        if kind == "decimal":
            return Decimal(value)
        if kind == "date":
            return dt.date.fromisoformat(value)
        if kind == "bytes":
            return bytes.fromhex(value)
        if kind == "scalar":
            return self.open(value)[()]
        if kind == "@":
            return self.made[value]
        raise Unfit(f"{kind!r} is not known")

    def make(self, packed: list[Any]) -> None:
        kind, *rest = packed
        if kind == "array":
            dtype, shape, at, writeable = np.dtype(rest[0]), tuple(rest[1]), rest[2], rest[3]
            if dtype.hasobject or min(shape, default=0) < 0:
                raise Unfit("an array of Python objects, or of less than nothing")
            count = int(np.prod(shape, dtype=np.int64))
            flat = np.frombuffer(self._blob, dtype, count, at) if count else np.empty(0, dtype)
            whole = flat.reshape(shape)
            whole.flags.writeable = writeable  # what was guarded against being written to still is
            self.made.append(whole)
        elif kind == "object":
            self.made.append(_again(_class(rest[0]), self.open(rest[1])))
        else:
            raise Unfit(f"{kind!r} is not known")


def pack(value: Any) -> tuple[dict[str, Any], list[NDArray[Any]]]:
    """What JSON can hold, and the arrays that go beside it.

    ``value`` : numbers, texts, dates, containers of such, arrays, and objects of this package's classes.
    Raises ``Unfit`` where it holds anything else, or itself.
    """
    packer = _Packer()
    try:
        packed = packer.pack(value)
    except RecursionError:
        raise Unfit("something that holds itself, or goes too deep") from None
    return {"value": packed, "objects": packer.objects, "bytes": packer.size}, packer.arrays


def unpack(parcel: dict[str, Any], blob: bytearray | mmap) -> Any:
    """The value again; ``blob`` holds the arrays, each from the next multiple of 16 bytes."""
    if len(blob) != parcel["bytes"]:
        raise Unfit(f"{parcel['bytes']} bytes of arrays were announced, {len(blob)} came")
    opener = _Opener(blob)
    for packed in parcel["objects"]:
        opener.make(packed)
    return opener.open(parcel["value"])


def send(value: Any, pipe: IO[bytes], folder: Path) -> None:
    """Put a parcel into a pipe, whole or not at all; its arrays into a file of the folder."""
    parcel, arrays = pack(value)
    parcel["file"] = ""
    if parcel["bytes"]:
        parcel["file"] = uuid4().hex
        path = folder / parcel["file"]
        try:
            with path.open("wb") as file:
                for array in arrays:
                    file.write(bytes(-file.tell() % LINE_UP))
                    file.write(array.reshape(-1).view(np.uint8).data)
        except OSError:  # a full disk is not kept full
            path.unlink(missing_ok=True)
            raise
    pipe.write(json.dumps(parcel, separators=(",", ":")).encode() + b"\n")
    pipe.flush()


def clear(folder: Path) -> None:
    """Take the folder away, with parcels that nobody fetched; one that holds anything but files stays."""
    with suppress(OSError):
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()


def receive(pipe: IO[bytes], folder: Path) -> Any:
    """The next parcel of a pipe; ``EOFError`` where it ends, ``Unfit`` where it is none."""
    line = pipe.readline()
    if not line.endswith(b"\n"):
        raise EOFError
    try:
        parcel = json.loads(line)
        blob: bytearray | mmap = bytearray()
        if parcel["file"]:
            path = folder / Path(parcel["file"]).name
            with path.open("rb") as file:
                # mapped: read where it is used, written to in private; elsewhere a mapped file cannot be taken away
                posix = os.name == "posix"
                blob = mmap(file.fileno(), 0, access=ACCESS_COPY) if posix else bytearray(file.read())
            path.unlink()
        return unpack(parcel, blob)
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RecursionError, OSError) as error:
        raise Unfit(f"not a whole parcel: {error}") from error
