"""Work on every core: children are forked that only compute, write shared memory and leave.

Threads wait for the interpreter between two array operations and, on two cores, gain nothing. A child is forked only
where that is safe: on Linux (the system libraries that numpy calls on macOS do not bear it), from the main thread, and
while no other thread works, since a lock that one holds at that moment is never opened in the child. (The threads that
a numerical library keeps of its own do no harm on Linux: the C library and OpenBLAS put their locks in order at a fork,
and a child only computes with arrays.) Elsewhere work that bears it is done by threads, and the rest here, piece by
piece: on macOS and Windows a search takes longer on one core, and finds the same. While children work nothing forks
again, in them or here: the cores are taken.
"""

from __future__ import annotations

import mmap
import os
import signal
import sys
import threading
import weakref
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Piece = TypeVar("Piece")
Way = Literal["fork", "threads", "here"]

_taken = False
_at_rest: weakref.WeakSet[threading.Thread] = weakref.WeakSet()
_most: int | None = None


def use_at_most(count: int | None) -> None:
    """Let this process work on so many cores and no more; None: on every one."""
    global _most
    _most = count


def taken() -> bool:
    """Whether all cores are at work for this process already."""
    return _taken


def rests(thread: threading.Thread) -> None:
    """Say of a thread that it only ever waits in a read, holding nothing that a forked child would need."""
    _at_rest.add(thread)


def this_thread_rests() -> None:
    """Say it of the thread that asks: one of a pool, idle whenever children are forked."""
    rests(threading.current_thread())


def system_forks() -> bool:
    """Whether a process of one thread can be forked on this system without harm."""
    return sys.platform == "linux"


def may_fork() -> bool:
    """Whether children can be forked from here and now: on Linux, not twice, from the only thread that works."""
    if _taken or not system_forks() or threading.current_thread() is not threading.main_thread():
        return False
    return all(t is threading.main_thread() or t in _at_rest for t in threading.enumerate())


def shared(rows: int, n: int) -> FloatArray:
    """Memory that a forked child writes for its parent, shape ``(rows, n)``, zero at first."""
    return np.frombuffer(mmap.mmap(-1, max(rows * n, 1) * 8), dtype=np.float64)[: rows * n].reshape(rows, n)


def spread(
    task: Callable[[Piece], None],
    pieces: Sequence[Piece],
    each: Callable[[float], bool] = lambda _: True,
    *,
    threads: bool = False,
    way: Way | None = None,
) -> bool:
    """Do ``task`` for every piece: on every core it may use where children may be forked, else by threads or one after
    the other.

    Parameters
    ----------
    task : writes its result to ``shared`` memory; nothing else of a child's work reaches its parent
    pieces : every core takes each so many-th of them; this process takes the fewest
    each : told, before each piece done here, the share of them that is done; False ends the work. Threads do not ask
    threads : whether several threads may do ``task`` at a time, which they then do where no child may be forked
    way : how it is done, in place of what suits this system and this moment

    Returns
    -------
    False where ``each`` ended it; what is done by then is some of the pieces
    """
    global _taken
    if way is None:
        way = "fork" if may_fork() else "threads" if threads and not _taken else "here"
    cores = min(len(pieces), _most or os.cpu_count() or 1) if way != "here" else 1
    if way == "threads" and cores > 1:
        with ThreadPoolExecutor(cores) as pool:
            list(pool.map(task, pieces))
        return True
    shares = [pieces[k::cores] for k in range(cores)] if cores > 1 else [pieces]
    children: dict[int, Sequence[Piece]] = {}
    lost: list[Piece] = []
    before = _taken
    try:
        for share in shares[:-1]:
            try:
                children[_child(task, share)] = share
            except OSError:  # no room for another process
                lost += share
        _taken = _taken or bool(children)
        for number, piece in enumerate(shares[-1]):
            if not each(number / len(shares[-1])):
                return False
            task(piece)
        for child in tuple(children):
            if os.waitpid(child, 0)[1]:
                lost += children[child]  # it was killed, for want of memory perhaps
            del children[child]
    finally:
        _taken = before
        for child in children:  # nobody waits for them any more
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
    for piece in lost:
        task(piece)
    return True


def _child(task: Callable[[Piece], None], pieces: Sequence[Piece]) -> int:
    global _taken
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        _taken = True
        for piece in pieces:
            task(piece)
        status = 0
    finally:
        os._exit(status)  # no clean-up of what belongs to the parent
