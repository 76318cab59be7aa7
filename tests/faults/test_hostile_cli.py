"""Hostile command lines and files: every one ends with 0 or 2, at most one line of complaint and no traceback.

The listed ones and ``BREWWATER_HOSTILE`` random ones (24 unless it is set) from ``BREWWATER_SEED`` (printed). Where
``BREWWATER_HOSTILE`` is set each runs as a process of its own, bounded to 20 s of processor time and 1 GiB:

    BREWWATER_HOSTILE=500 BREWWATER_SEED=$RANDOM python -m pytest -s tests/faults/test_hostile_cli.py -k random
"""

from __future__ import annotations

import json
import os
import random
import resource
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from brewwater.cli import UNEXPECTED, main
from brewwater.planning.document import demo_document

MANY = os.environ.get("BREWWATER_HOSTILE")
COUNT = int(MANY or 24)
SEED = int(os.environ.get("BREWWATER_SEED", "20261130"))
MOST_S, HANGS_S, MOST_BYTES = 20.0, 120.0, 1 << 30
HEAD = "id,temperature_C,pH,calcium_mg_L,magnesium_mg_L,sodium_mg_L,potassium_mg_L,chloride_mg_L,sulfate_mg_L,"
HEAD += "nitrate_mg_L,alkalinity_mg_L_as_CaCO3\n"
ROW = "a,20,7.5,50,10,10,1,20,30,5,120\n"
NUMBERS = [
    "", " ", "0", "-0", "1e-40", "1e-320", "1e400", "-1", "NaN", "inf", "0x10", "1_000", "1,5", "1.2.3", "٣", "+5", "5.",
    ".5", "1e5", "20000", "19999.999", "290 " + "a" * 41, "290 mg/L as unobtainium", "17 gpg", "9" * 400, "=1+1",
    "290 ppm as CaCO3", "290\nppm", "--", "💧", "5 dH", "1 mg/L mg/L", "290 " + "°" * 80, "1e1e1",
]  # fmt: skip
WORDS = [
    "",
    " ",
    "unit",
    "../../etc",
    "a" * 3000,
    "💧",
    "local:unit",
    "x'; drop table plan; --",
    "-",
    "%00",
    "\u202e",
    "\n",
]
DATES = ["2026-03-31", "2026-02-30", "0000-00-00", "9999-12-31", "31.3.2026", "", "today", "2026-W10", "1e9"]
KINDS = ["meter", "hardness", "pH", "pressure in", "", "changed", "💧", "meter_gal"]


def make_files(folder: Path, luck: random.Random) -> list[str]:
    """Hostile files of every kind that a command may be given."""
    whole = json.loads(demo_document().to_json())
    table = (HEAD + ROW).encode()
    content: dict[str, bytes] = {
        "empty.csv": b"",
        "random.bin": luck.randbytes(4000),
        "random.pdf": b"%PDF-1.7\n" + luck.randbytes(4000),
        "random.xlsx": b"PK\x03\x04" + luck.randbytes(4000),
        "utf16.csv": (HEAD + ROW).encode("utf-16"),
        "utf16.json": json.dumps(whole).encode("utf-16"),
        "bom.json": b"\xef\xbb\xbf" + json.dumps(whole).encode(),
        "deep.json": b"[" * 60_000,
        "deep_object.json": b'{"a":' * 30_000,
        "number.json": b"9" * 60_000,
        "nan.json": b'{"schema_version": NaN}',
        "list.json": b"[1, 2]",
        "twice.json": b'{"schema_version": 1, "schema_version": 2}',
        "surrogate.json": b'{"name": "\\ud800"}',
        "half.json": json.dumps(whole).encode()[: luck.randrange(5000)],
        "head.csv": HEAD.encode(),
        "ragged.csv": table + b"b,20,7\nc,20,7.5,50,10,10,1,20,30,5,120,9,9,9\n",
        "quote.csv": table + b'"b,20,7.5,50,10\n' * 50,
        "nul.csv": table + b"b\x00,20,7.5,50,10,10,1,20,30,5,120\n",
        "huge.csv": table + b"b,1e308,-1e308,1e400,nan,inf,1,20,30,5,120\n",
        "line.csv": HEAD.encode() + b"b" * 2_000_000,
        "one_line.csv": b"x" * 3_000_000,
        "twice.csv": b"id,id,pH,pH\n1,2,3,4\n",
        "deep.html": b"<div>" * 20_000,
        "table.html": b"<table>" + b"<tr><td colspan=99999999>hardness</td>" * 300,
        "words.txt": b"hardness 290 ppm\nalkalinity 240\n" * 40,
        "control.txt": bytes(range(256)) * 20,
        "latin.txt": "Härte 20 °dH".encode("latin-1"),
        "formula.csv": b"Parameter,Value,Unit\n=cmd|' /C calc'!A0,290,mg/L\nHardness,1e999,mg/L\n",
    }
    for number in range(8):
        content[f"changed{number}.json"] = json.dumps(_changed(json.loads(json.dumps(whole)), luck)).encode()
    for name, data in content.items():
        (folder / name).write_bytes(data)
    (folder / "folder").mkdir()
    (folder / "loop.json").symlink_to(folder / "loop.json")
    os.mkfifo(folder / "pipe.csv")
    with (folder / "large.csv").open("wb") as out:
        out.truncate(2_500_000_000)
    names = [str(folder / name) for name in (*content, "folder", "loop.json", "pipe.csv", "large.csv", "missing.pdf")]
    return [
        *names,
        "/dev/zero",
        "/dev/null",
        "",
        "/nowhere/x.csv",
        str(folder / ("n" * 300)),
        str(folder / "\udcff.csv"),
    ]


def _changed(part: object, luck: random.Random) -> object:
    """A document with one value somewhere replaced by junk."""
    junk = [None, -1, 0, 1e308, 1e-300, "", "x" * 500, [], {}, [[]], True, "2026-02-30", 10**30, "💧", [1, 2, 3, 4]]
    here = part
    while True:
        assert isinstance(here, (dict, list))
        keys = list(here) if isinstance(here, dict) else list(range(len(here)))
        if not keys:
            return part
        key = luck.choice(keys)
        inner = here[key]
        if not isinstance(inner, (dict, list)) or not inner or luck.random() < 0.2:
            here[key] = luck.choice(junk)
            return part
        here = inner


def command(files: list[str], folder: Path, luck: random.Random) -> list[str]:
    """One random command line."""

    def file() -> str:
        return luck.choice(files)

    def word() -> str:
        return luck.choice(WORDS)

    def number() -> str:
        return luck.choice(NUMBERS)

    def out() -> str:
        return luck.choice([*files, str(folder / f"out{luck.randrange(99)}"), "/dev/full", str(folder)])

    def some(*options: tuple[str, ...]) -> list[str]:
        return [part for option in options if luck.random() < 0.4 for part in option]

    no_port = [n for n in NUMBERS if not n.isdecimal()] + ["0", "70000", "99999999"]
    numbers = [("--hardness", number()), ("--alkalinity", number()), ("--tds", number()), ("--drinks", number())]
    made: list[Callable[[], list[str]]] = [
        lambda: ["plan", *some((file(),), ("--report", file()), ("--supply", word()), ("--json",))],
        lambda: ["plan", file()],
        lambda: ["plan", *some(*numbers), "--hardness", number()],
        lambda: ["plan", "--report", file(), *some(("--supply", word()), numbers[0])],
        lambda: ["report", file(), *some(("--json",), ("--supply", word()))],
        lambda: ["report", file()],
        lambda: ["waters", file(), *some(("--temperature", number()), ("--out", out()))],
        lambda: ["waters", files[4], "--out", out()],
        lambda: ["log", "list", word(), *some(("--json",))],
        lambda: [
            *("log", "add", word(), "--date", luck.choice(DATES), "--kind", luck.choice(KINDS)),
            *("--value", number(), "--unit", word(), *some(("--note", word()), ("--new",))),
        ],
        lambda: ["export", word(), out()],
        lambda: ["restore", file()],
        lambda: ["app", "--port", luck.choice(no_port), "--phone"],
        lambda: ["app", "--phone-hours", luck.choice(no_port), "--phone"],
        lambda: ["app", "--address", luck.choice(["0.0.0.0", "::", "evil.example", "127.0.0.1.x", ""]), "--port", "0"],
        lambda: [word(), file()],
        lambda: ["plan", f"--{word()}", number()],
    ]
    return luck.choice(made)()


def sound(arguments: list[str], status: int, err: str) -> None:
    """What must hold of every end; progress lines of what went well do not count."""
    assert status in (0, 2), (arguments, status, err)
    assert "Traceback" not in err, (arguments, err)
    assert UNEXPECTED not in err, (arguments, err)
    if status == 2:
        assert len(err.splitlines()) == 1, (arguments, err)


def bounded() -> None:
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def as_process(arguments: list[str], settings: dict[str, str]) -> tuple[int, str, float, int]:
    """Status, error stream, processor seconds with its children's, and the most memory of a process.

    One that waits for ever is ended after ``HANGS_S``; on a machine with other work the clock says nothing else.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "brewwater", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=settings,
        preexec_fn=bounded,
    )
    assert process.stderr is not None
    alarm = threading.Timer(HANGS_S, process.kill)
    alarm.start()
    err = process.stderr.read().decode("utf-8", "replace")
    _, status, used = os.wait4(process.pid, 0)
    alarm.cancel()
    process.returncode = os.waitstatus_to_exitcode(status)
    return process.returncode, err, used.ru_utime + used.ru_stime, used.ru_maxrss * 1024


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("BREWWATER_DATABASE_URL", raising=False)
    return dict(os.environ)


def test_random_command_lines(tmp_path: Path, settings: dict[str, str], capfd: pytest.CaptureFixture[str]) -> None:
    luck = random.Random(SEED)
    with capfd.disabled():
        print(f" seed {SEED}, {COUNT} command lines", end="")
    files = make_files(tmp_path, luck)
    ends: list[int] = []
    for _ in range(COUNT):
        arguments = command(files, tmp_path, luck)
        if "\x00" in "".join(arguments):
            continue
        if MANY:
            status, err, took, memory = as_process(arguments, settings)
            assert took < MOST_S, (arguments, took)
            assert memory < MOST_BYTES, (arguments, memory)
        else:
            status = main(arguments)
            err = capfd.readouterr().err
        sound(arguments, status, err)
        ends.append(status)
    assert ends.count(2) > COUNT / 3


LISTED = [
    ["waters", "{table}", "--out", "/nowhere/x.csv"],
    ["waters", "{table}", "--out", "{folder}"],
    ["waters", "{table}", "--out", "/dev/full"],
    ["waters", "/dev/zero"],
    ["waters", "{pipe}"],
    ["waters", "{large}"],
    ["plan", "--hardness", "290 " + "a" * 41],
    ["plan", "{large}"],
    ["plan", "/dev/zero"],
    ["plan", "{pipe}"],
    ["plan", "--report", "/dev/zero"],
    ["report", "{pipe}"],
    ["report", "{large}"],
    ["restore", "/dev/zero"],
    ["restore", "{pipe}"],
    ["restore", "{large}"],
    ["export", "van", ""],
]


@pytest.mark.parametrize("arguments", LISTED, ids=lambda a: " ".join(a)[:40])
def test_listed_command_lines(
    tmp_path: Path, settings: dict[str, str], capfd: pytest.CaptureFixture[str], arguments: list[str]
) -> None:
    places = {name: tmp_path / f"{name}.csv" for name in ("table", "pipe", "large")} | {"folder": tmp_path}
    places["table"].write_text(HEAD + ROW)
    os.mkfifo(places["pipe"])
    with places["large"].open("wb") as out:
        out.truncate(2_500_000_000)
    if arguments[0] == "export":
        line = ["--date", "2026-03-31", "--kind", "meter", "--value", "5", "--unit", "gal"]
        assert main(["log", "add", "van", *line]) == 0
        capfd.readouterr()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    status = main([a.format(**places) for a in arguments])
    said = capfd.readouterr()
    assert status == 2
    sound(arguments, status, said.err)
    assert said.out == ""
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024 < 300_000_000


def test_a_drop_of_a_drink_is_planned(settings: dict[str, str], capfd: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--hardness", "100", "--drinks", "1e-40", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["yearly_cost"]["per_drink"] is None


def test_an_interrupt_is_silent_whenever_it_comes(settings: dict[str, str]) -> None:
    """At moments spread over loading and working. Before the program has a word to say, Python itself ends it by the
    signal."""
    luck = random.Random(SEED)
    for moment in [0.06 + luck.random() * 1.6 for _ in range(6)]:
        process = subprocess.Popen(
            [sys.executable, "-m", "brewwater", "plan"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=settings,
            start_new_session=True,
        )
        time.sleep(moment)
        os.killpg(process.pid, signal.SIGINT)
        _, err = process.communicate(timeout=20)
        assert process.returncode == 130, (moment, process.returncode, err)
        assert err == b""


def test_a_reader_that_goes_away_hears_nothing_more(settings: dict[str, str]) -> None:
    line = f"{sys.executable} -m brewwater schema | head -1; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, env=settings, timeout=60)
    assert done.stderr == ""
    assert done.stdout.splitlines() == ["{", "0"]


def test_no_room_on_standard_output_is_one_line(settings: dict[str, str]) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "brewwater", "schema"], stdout=full, stderr=subprocess.PIPE, env=settings, timeout=60
        )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert b"No space left" in done.stderr


def test_a_defect_of_ours_is_one_line_that_says_where(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*arguments: object, **named: object) -> None:
        raise ZeroDivisionError("secret words")

    monkeypatch.setattr("brewwater.planning.quick.quick_document", broken)
    assert main(["plan"]) == 2
    said = capsys.readouterr().err
    assert UNEXPECTED in said
    assert "ZeroDivisionError at test_hostile_cli.py:" in said
    assert "secret" not in said
    assert len(said.splitlines()) == 1
