"""Files that a user names: what a path is, seen before a byte of it is read."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager

from brewwater.errors import InputError


def plain_file(path: str | os.PathLike[str], field: str, most_bytes: int | None = None) -> None:
    """See that a path names a plain file, and that it is not too large; of a pipe or a device there is no end.

    Raises
    ------
    InputError : not there, a folder, a device or a pipe, or larger than ``most_bytes``
    """
    shown = ascii(os.fspath(path))[1:-1] if not str(path).isprintable() else str(path)
    try:
        about = os.stat(path)
    except FileNotFoundError:
        raise InputError(field, shown, "the file is not there", "Check the path.") from None
    except (OSError, ValueError) as error:  # a name too long, a loop of links, a letter that no path has
        why = getattr(error, "strerror", None) or type(error).__name__
        raise InputError(field, shown, f"the file cannot be read ({why})", "Check the path.") from None
    if not stat.S_ISREG(about.st_mode):
        raise InputError(field, shown, "a plain file is needed", "Give a file, not a folder, device or pipe.")
    if most_bytes is not None and about.st_size > most_bytes:
        raise InputError(field, shown, f"at most {most_bytes} bytes are read", "Give a smaller file.")


@contextmanager
def writing(path: str | os.PathLike[str] | None, field: str) -> Iterator[None]:
    """What is written meanwhile goes to ``path``, or to standard output: where that fails, one clear line.

    Raises
    ------
    InputError : no room, no such folder, not allowed; a reader that went away is left to the caller
    """
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        shown = "standard output" if path is None else str(path)
        why = error.strerror or type(error).__name__
        raise InputError(field, shown, f"it cannot be written ({why})", "Choose another place.") from None
