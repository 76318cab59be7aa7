"""Child processes for the store's fault tests: writers that are killed, and writers that collide.

    python _store_worker.py kill URL ROUNDS SEED ACKFILE     kill a writer ROUNDS times
    python _store_worker.py write URL PEOPLE TIMES           PEOPLE threads add 1 to the plan TIMES times

Each prints one JSON object with what happened.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

from sqlalchemy import text

from brewwater.log.entry import Reading
from brewwater.store import StaleSave, Store, make_engine
from brewwater.store.text import canonical, sha256

UNIT = "truck"


def _document(count: int, size: int) -> dict[str, Any]:
    return {"schema_version": 1, "count": count, "padding": "x" * size}


def _writer(url: str, seed: int, acks: int, ready: int) -> None:
    """Save and append until killed; a line goes to ``acks`` only after the store has answered.

    A byte goes to ``ready`` when the store is open and after each answer.
    """
    rng = random.Random(seed)
    store = Store(make_engine(url))
    now = store.plan(UNIT)
    version = now.version if now else 0
    os.write(ready, b"r")
    for cycle in range(10_000):
        saved = store.save_plan(UNIT, _document(version + 1, rng.choice((10, 2_000, 60_000))), version)
        version = saved.version
        os.write(acks, f"P {version} {saved.document['count']} {len(saved.document['padding'])}\n".encode())
        os.write(ready, b"p")
        line = Reading(date="2026-03-31", kind="meter_gal", value=version, unit="gal")
        store.add_readings(UNIT, [line])
        os.write(acks, f"R {line.id}\n".encode())
        os.write(ready, b"r")
        if (seed + cycle) % 3 == 0:  # a unit comes back from a file, as one more
            exported = json.loads(store.export_unit(UNIT))
            exported["content"] |= {"id": "back", "plans": exported["content"]["plans"][:1], "origins": []}
            exported["sha256"] = sha256(canonical(exported["content"]))
            ref = store.restore_unit(canonical(exported))
            os.write(acks, f"U {ref} {len(exported['content']['readings'])}\n".encode())
            os.write(ready, b"u")
        if cycle % 4 == 3 and url.startswith("sqlite"):
            store.back_up(keep=2)


def _as_the_first_format_was(url: str) -> None:
    """Take away what format 2 added, so that the next opening has to bring the store to it."""
    engine = make_engine(url)
    with engine.begin() as connection:
        for statement in (
            "DROP TABLE brewwater_seal",
            "DROP TABLE brewwater_origin",
            "DROP TABLE brewwater_shelf",
            "DROP TABLE brewwater_kept",
            "DROP TABLE brewwater_admission",
            "DELETE FROM brewwater_about",
            "INSERT INTO brewwater_about VALUES (1)",
        ):
            connection.execute(text(statement))
    engine.dispose()


def kill(url: str, rounds: int, seed: int, ack_file: Path) -> dict[str, Any]:
    rng = random.Random(seed)
    first = Store(make_engine(url))
    first.create_unit(UNIT)
    first.engine.dispose()
    checked = 0
    versions: dict[int, tuple[int, int]] = {}
    lines: set[str] = set()
    restored: dict[str, int] = {}
    report = {
        "kills": 0,
        "while_opening": 0,
        "migrations": 0,
        "restores": 0,
        "saves": 0,
        "readings": 0,
        "kept_unacknowledged": 0,
        "lost": 0,
    }
    for number in range(rounds):
        if number % 4 == 1:
            _as_the_first_format_was(url)
            report["migrations"] += 1
        out, into = os.pipe()
        acks = os.open(ack_file, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        child = os.fork()
        if child == 0:
            os.close(out)
            try:
                _writer(url, seed * 100_003 + number, acks, into)
            finally:
                os._exit(70)
        os.close(into)
        os.close(acks)
        opening = rng.random() < 0.15  # some die while they open the store
        if not opening:
            for _ in range(rng.randint(1, 7)):
                os.read(out, 1)
        time.sleep(rng.uniform(0, 0.02))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        os.close(out)
        assert os.WIFSIGNALED(status), f"the writer ended by itself, status {status}"
        report["kills"] += 1
        report["while_opening"] += opening

        told = ack_file.read_text().splitlines() if ack_file.exists() else []
        for line in told[checked:]:
            kind, *rest = line.split()
            if kind == "P":
                versions[int(rest[0])] = (int(rest[1]), int(rest[2]))
            elif kind == "R":
                lines.add(rest[0])
            else:
                restored[rest[0]] = int(rest[1])
        checked = len(told)
        store = Store(make_engine(url))  # a fresh engine: opening checks the whole file
        last = number == rounds - 1
        recent = sorted(versions)[0 if last else -30 :]
        for version in recent:
            kept = store.plan(UNIT, version)
            if kept is None or (kept.document["count"], len(kept.document["padding"])) != versions[version]:
                report["lost"] += 1
        now = store.plan(UNIT)
        newest = now.version if now else 0
        # at most one save was under way when the writer died
        for version in range(max(versions, default=0) + 1, newest + 1):
            kept = store.plan(UNIT, version)
            assert kept is not None
            versions[version] = (kept.document["count"], len(kept.document["padding"]))
            report["kept_unacknowledged"] += 1
        assert [v.version for v in store.history(UNIT)] == list(range(newest, 0, -1))
        held = {line.id for line in store.readings(UNIT)}
        report["lost"] += len(lines - held)
        lines = held
        units = {unit.ref for unit in store.units()}
        report["lost"] += len(restored.keys() - units)
        for ref in [*restored][-3:]:
            report["lost"] += len(store.readings(ref)) != restored[ref]
        assert not [found for found in store.check() if found.problem]  # nothing half of anything
        store.engine.dispose()
    acknowledged = ack_file.read_text().splitlines()
    report["saves"] = sum(line.startswith("P") for line in acknowledged)
    report["readings"] = sum(line.startswith("R") for line in acknowledged)
    report["restores"] = sum(line.startswith("U") for line in acknowledged)
    return report


def write(url: str, people: int, times: int) -> dict[str, Any]:
    """Each thread is a page of its own: read, add one, save, and start over where someone was faster."""
    engine = make_engine(url)
    report = {"saved": 0, "stale": 0, "errors": []}
    guard = threading.Lock()

    def page(number: int) -> None:
        store = Store(engine)
        try:
            for turn in range(times):
                while True:
                    now = store.plan(UNIT)
                    count, version = (now.document["count"], now.version) if now else (0, 0)
                    try:
                        document = _document(count + 1, 10) | {"by": f"{os.getpid()}/{number}"}
                        store.save_plan(UNIT, document, version)
                        break
                    except StaleSave:
                        with guard:
                            report["stale"] += 1
                line = Reading(date="2026-03-31", kind="meter_gal", value=turn, unit="gal")
                store.add_readings(UNIT, [line])
                with guard:
                    report["saved"] += 1
        except Exception as error:
            with guard:
                report["errors"].append(f"{type(error).__name__}: {error}")

    pages = [threading.Thread(target=page, args=(n,)) for n in range(people)]
    for thread in pages:
        thread.start()
    for thread in pages:
        thread.join()
    engine.dispose()
    return report


if __name__ == "__main__":
    task, address, *rest = sys.argv[1:]
    if task == "kill":
        print(json.dumps(kill(address, int(rest[0]), int(rest[1]), Path(rest[2]))))
    else:
        print(json.dumps(write(address, int(rest[0]), int(rest[1]))))
