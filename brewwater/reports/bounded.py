"""A report read in a process of its own, held in time and in memory and killed at the limit.

A hostile file can then only cost that process. It is forked from this one where that is safe (``cores.may_fork``: the
command line, a script): nothing is started twice, which costs some milliseconds. A process with threads (the server of
the front end) may not be forked safely; it keeps a warm helper, which is (``helpers``). Where a system may not fork at
all (macOS, Windows), a process is started for each report.

Everywhere the process is killed at its limit of time, and when its resident memory, which this process looks at every
``_POLL_S``, is over its limit. On Linux the system also refuses it more memory than that, at once; on macOS and Windows
nothing does, so that there a file can take, for as long as lies between two looks, more than the limit.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import signal
import struct
import subprocess
import sys
import threading
import time
import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, Literal

from brewwater import cores
from brewwater.errors import InputError, ReportError

# What a process may be asked to do: a function of keyword arguments and of ``tell``, which returns something for JSON.
TASKS = {
    "report": "brewwater.reports.handed:report_task",
    "text": "brewwater.reports.handed:text_task",
    "scan": "brewwater.reports.scan:scan_task",
    "page": "brewwater.reports.handed:page_task",
}
_POLL_S = 0.02
_GRACE_S = 3.0
_HEAD = struct.Struct(">I")
_MAX_FRAME = 400_000_000

Tell = Callable[[Any], None]
Way = Literal["fork", "helper", "start"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Wall-clock seconds (from the last sign of progress) and bytes of resident memory of one reading."""

    seconds: float = 20.0
    memory: int = 1 << 30


READING = Limits()


class Cancelled(Exception):
    """The person who asked for it has stopped the reading."""


class _Over(Exception):
    """A limit was reached: ``time`` or ``memory``."""


@dataclass(frozen=True, slots=True)
class Watch:
    """What is heard while a process reads: ``progress`` takes what it tells, ``cancelled`` asks to stop it."""

    progress: Tell = lambda said: None
    cancelled: Callable[[], bool] = lambda: False


def run(
    task: str,
    arguments: Mapping[str, Any],
    name: str,
    limits: Limits = READING,
    watch: Watch | None = None,
    *,
    way: Way | None = None,
) -> Any:
    """The result of a task of ``TASKS``, from a process that is killed at its limits.

    Parameters
    ----------
    arguments : keyword arguments of the task, for JSON
    name : of the file, for the line of an error
    way : how the process is come by, in place of what suits this system and this moment

    Raises
    ------
    InputError : what the task raised, or the line that tells which limit was reached
    Cancelled : ``watch.cancelled()`` was true
    """
    job = {"task": task, "arguments": dict(arguments), "seconds": limits.seconds, "memory": limits.memory}
    watch = watch or Watch()
    if way is None:
        way = "fork" if cores.may_fork() else "helper" if cores.system_forks() else "start"
    try:
        if way == "start":
            frame = _started(job, limits, watch)
        elif way == "fork":
            load()
            frame = forked(job, watch)
        else:
            frame = _helpers().run(job, limits, watch)
    except _Over as over:
        raise _refusal(name, str(over), limits) from None
    return _answer(frame, name, limits)


def _answer(frame: Mapping[str, Any], name: str, limits: Limits) -> Any:
    kind = frame.get("kind")
    if kind == "result":
        return frame["value"]
    if kind == "refused":
        error = ReportError if frame["error"] == "ReportError" else InputError
        raise error(frame["field"], frame["value"], frame["limit"], frame["remedy"])
    if kind == "over":
        raise _refusal(name, frame["limit"], limits)
    raise ReportError(
        f"report {name}",
        str(frame.get("what", "nothing")),
        "the reader broke off on it",
        "Type the values by hand, or give only the table of results.",
    )


def _refusal(name: str, limit: str, limits: Limits) -> ReportError:
    said = {
        "time": (f"over {limits.seconds:.0f} s", "it takes too long to read"),
        "memory": ("too large inside", f"reading it needs more than {limits.memory / 2**30:.0f} GiB of memory"),
    }
    return ReportError(f"report {name}", *said[limit], "Give only the pages with the tables of results.")


# --- in the process that reads -----------------------------------------------------------------------------------


def work(job: Mapping[str, Any], send: Callable[[Mapping[str, Any]], None]) -> None:
    """Do a job and send its result, or why there is none."""
    _confine(job["memory"])
    try:
        module, _, function = TASKS[job["task"]].partition(":")
        task = getattr(import_module(module), function)
        value = task(**job["arguments"], tell=lambda said: send({"kind": "progress", "value": said}))
        send({"kind": "result", "value": value})
    except InputError as error:
        kind = "ReportError" if isinstance(error, ReportError) else "InputError"
        shown = error.value if isinstance(error.value, str | int | float) else str(error.value)
        send(
            {"kind": "refused", "error": kind, "field": error.field, "value": shown}
            | {"limit": error.limit, "remedy": error.remedy}
        )
    except MemoryError:
        send({"kind": "over", "limit": "memory"})
    except Exception as error:  # whatever fails on a hostile file must not look like a broken program
        send({"kind": "broken", "what": _where(error)})


def _where(error: BaseException) -> str:
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    at = f"{Path(trace.tb_frame.f_code.co_filename).name} {trace.tb_lineno}" if trace is not None else "?"
    return f"{type(error).__name__} in {at}"


def _confine(memory: int) -> None:
    """The system's own limit of memory, a little wider than the one that is watched from outside."""
    import faulthandler
    import logging

    faulthandler.disable()
    logging.disable(logging.CRITICAL)
    warnings.simplefilter("ignore")
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        used = _resident(os.getpid(), field=0)
        room = used + memory + (256 << 20) if used else resource.RLIM_INFINITY
        resource.setrlimit(resource.RLIMIT_AS, (room, room))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def send_to(handle: int) -> Callable[[Mapping[str, Any]], None]:
    """Writes frames (a length, then JSON) to a file descriptor."""

    def send(frame: Mapping[str, Any]) -> None:
        data = json.dumps(frame).encode()
        data = _HEAD.pack(len(data)) + data
        while data:
            data = data[os.write(handle, data) :]

    return send


# --- in the process that waits -----------------------------------------------------------------------------------


def forked(job: Mapping[str, Any], watch: Watch) -> Mapping[str, Any]:
    """The last frame of a job that is done in a fork of this process.

    Raises
    ------
    Cancelled : the watch asked to stop
    """
    out, into = os.pipe()
    sys.stdout.flush()
    sys.stderr.flush()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # the threads of the numerical libraries survive a fork
        child = os.fork()
    if child == 0:
        status = 1
        try:
            os.setsid()
            os.close(out)
            nowhere = os.open(os.devnull, os.O_RDWR)
            for stream in (0, 1, 2):  # what a library prints as it breaks is nobody's business
                os.dup2(nowhere, stream)
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            work(job, send_to(into))
            status = 0
        finally:
            os._exit(status)
    os.close(into)
    try:
        last: Mapping[str, Any] = {"kind": "broken", "what": "no answer"}
        for frame in _heard(out, Limits(job["seconds"], job["memory"]), watch, child):
            last = frame
        return last
    except _Over as over:
        return {"kind": "over", "limit": str(over)}
    finally:
        os.close(out)
        with contextlib.suppress(OSError):
            os.killpg(child, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(child, 0)


def _heard(handle: int, limits: Limits, watch: Watch, child: int | None) -> Iterator[Mapping[str, Any]]:
    """Frames from a file descriptor until a result; what is only progress goes to the watch.

    Raises
    ------
    _Over, Cancelled
    """
    import select  # not for pipes on Windows, where no process is heard like this

    poll = select.poll()
    poll.register(handle, select.POLLIN | select.POLLHUP)
    return _frames(lambda: os.read(handle, 1 << 18) if poll.poll(_POLL_S * 1000) else None, limits, watch, child)


def _frames(
    come: Callable[[], bytes | None], limits: Limits, watch: Watch, child: int | None
) -> Iterator[Mapping[str, Any]]:
    """Frames of what has ``come``: None where nothing did for ``_POLL_S``, nothing more after an empty piece."""
    buffer = bytearray()
    parent = os.getppid()
    last = time.monotonic()
    while True:
        chunk = come()
        if chunk is not None:
            if not chunk:
                return
            buffer += chunk
            while len(buffer) >= _HEAD.size:
                (size,) = _HEAD.unpack_from(buffer)
                if size > _MAX_FRAME:
                    raise _Over("memory")
                if len(buffer) < _HEAD.size + size:
                    break
                frame = json.loads(bytes(buffer[_HEAD.size : _HEAD.size + size]))
                del buffer[: _HEAD.size + size]
                last = time.monotonic()
                if frame["kind"] != "progress":
                    yield frame
                    return
                watch.progress(frame["value"])
        if time.monotonic() - last > limits.seconds:
            raise _Over("time")
        if child is not None and _resident(child) > limits.memory:
            raise _Over("memory")
        if watch.cancelled():
            raise Cancelled
        if os.getppid() != parent:
            raise Cancelled


def _resident(process: int, field: int = 1) -> int:
    """Resident (field 1) or whole (field 0) memory of a process, bytes; 0 where nothing says it."""
    try:
        with open(f"/proc/{process}/statm") as handle:
            return int(handle.read().split()[field]) * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError):
        return 0 if field == 0 or cores.system_forks() else _resident_elsewhere(process)


def _resident_elsewhere(process: int) -> int:
    """Resident memory as macOS and Windows tell it, bytes; 0 where the process has ended."""
    import psutil

    try:
        return int(psutil.Process(process).memory_info().rss)
    except psutil.Error:
        return 0


# --- without a fork of this process -------------------------------------------------------------------------------

_PROGRAM = "import sys; sys.path.insert(0, sys.argv[1]); from brewwater.reports.bounded import ENTRY; ENTRY()"


def _command(entry: str) -> list[str]:
    root = str(Path(__file__).resolve().parents[2])
    safe = ["-P"] if sys.version_info >= (3, 11) else []
    return [sys.executable, *safe, "-c", _PROGRAM.replace("ENTRY", entry), root]


def _started(job: Mapping[str, Any], limits: Limits, watch: Watch) -> Mapping[str, Any]:
    """The last frame of a job done in a process started for it alone; any system can do that.

    Raises
    ------
    _Over, Cancelled
    """
    process = subprocess.Popen(
        _command("once"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    came: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    stdin, stdout = process.stdin, process.stdout
    if stdin is None or stdout is None:
        raise BrokenPipeError

    def talk() -> None:
        with contextlib.suppress(OSError, ValueError):  # it ended, or was ended
            stdin.write(json.dumps(job).encode())
            stdin.close()
            while chunk := os.read(stdout.fileno(), 1 << 18):
                came.put(chunk)
        came.put(b"")

    def come() -> bytes | None:
        with contextlib.suppress(queue.Empty):
            return came.get(timeout=_POLL_S)
        return None

    reader = threading.Thread(target=talk, daemon=True)
    reader.start()
    try:
        wide = Limits(limits.seconds + _GRACE_S, limits.memory)  # it also has to start
        for frame in _frames(come, wide, watch, process.pid):
            return frame
        return {"kind": "broken", "what": f"exit {process.wait()}"}
    finally:
        process.kill()
        process.wait()
        reader.join()
        for stream in (stdin, stdout):
            with contextlib.suppress(OSError):
                stream.close()


def once() -> None:
    """Do the one job that stands on standard input."""
    work(json.loads(sys.stdin.buffer.read()), send_to(sys.stdout.fileno()))


def serve() -> None:
    """A warm helper: jobs on standard input, each done in a fork, their frames on standard output."""
    load()
    send = send_to(sys.stdout.fileno())
    while head := sys.stdin.buffer.read(_HEAD.size):
        job = json.loads(sys.stdin.buffer.read(*_HEAD.unpack(head)))
        watch = Watch(progress=lambda said: send({"kind": "progress", "value": said}))
        try:
            send(forked(job, watch))
        except Cancelled:
            return


class Helpers:
    """Warm helpers of this process: as many as there are readings at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._idle: list[subprocess.Popen[bytes]] = []

    def warm(self) -> None:
        """Have one helper ready."""
        with self._lock:
            if not self._idle:
                self._idle.append(self._new())

    def run(self, job: Mapping[str, Any], limits: Limits, watch: Watch) -> Mapping[str, Any]:
        """The last frame of a job that a helper has done."""
        with self._lock:
            helper = self._idle.pop() if self._idle else None
        if helper is None or helper.poll() is not None:
            helper = self._new()
        good = False
        try:
            stdin, stdout = helper.stdin, helper.stdout
            if stdin is None or stdout is None:
                raise BrokenPipeError
            data = json.dumps(job).encode()
            stdin.write(_HEAD.pack(len(data)) + data)
            stdin.flush()
            wide = Limits(limits.seconds + _GRACE_S + 10, limits.memory)  # the helper itself keeps the limits
            for frame in _heard(stdout.fileno(), wide, watch, None):
                good = True
                return frame
            return {"kind": "broken", "what": "the helper ended"}
        except BrokenPipeError:
            return {"kind": "broken", "what": "the helper ended"}
        finally:
            if good:
                with self._lock:
                    self._idle.append(helper)
            else:
                _end(helper)

    def close(self) -> None:
        """End them all."""
        with self._lock:
            for helper in self._idle:
                _end(helper)
            self._idle.clear()

    @staticmethod
    def _new() -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            _command("serve"),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
        )


def _end(helper: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        os.killpg(helper.pid, signal.SIGKILL)
    helper.wait()
    for stream in (helper.stdin, helper.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()


@cache
def load() -> None:
    """Load all that a reading needs, tables and patterns too, so that forks of this process find it ready."""
    import_module("brewwater.reports.handed").text_task(text="pH 7.5\nCalcium mg/L 40-52", name="none", tell=id)


@cache
def _helpers() -> Helpers:
    import atexit

    made = Helpers()
    atexit.register(made.close)
    return made


def warm() -> None:
    """Start a helper ahead of the first report, where this process will need one."""
    if cores.system_forks():
        _helpers().warm()
