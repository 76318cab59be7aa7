"""The stop on the round, for a phone: a plain page that works through a dropped connection, and what it sends.

The page and its script know nobody; what is due comes as JSON and stays on the phone. What is typed is kept there under
ids that the phone makes, and sent when the connection is back: the ids are those of the log's lines, so what is sent
twice is kept once. Every line is read as one typed on the pages.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import threading
from collections.abc import Awaitable, Callable, Mapping
from importlib import resources
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from brewwater.errors import BrewwaterError, InputError
from brewwater.log.entry import ANALYTE_OF, Reading, reading_from_text
from brewwater.log.photo import SENT_BYTES, clean_photo
from brewwater.output.calendar_file import BEFORE_A_CHANGE
from brewwater.output.round import UnitRound, in_route, stops
from brewwater.output.round_keeping import unit_rounds
from brewwater.output.vocabulary import LOG
from brewwater.store import NotAllowed, Store, UnknownUnit
from brewwater.store.faults import SignedOut
from brewwater.units import PLAN_UNITS
from brewwater.web import journal
from brewwater.web.server.policy import PHOTO
from brewwater.web.server.who import Doorman

PAGE = "/stop"
HEADER = "x-brewwater-stop"  # no page elsewhere can send it: it would have to be asked first, and is not answered
MOST_LINES = 60
_FILES = {
    "/stop": ("stop.html", "text/html"),
    "/stop/stop.js": ("stop.js", "text/javascript"),
    "/stop/stop.css": ("stop.css", "text/css"),
    "/stop/worker.js": ("stop_worker.js", "text/javascript"),
}
_STRIPS = ("hardness", "alkalinity", "total_chlorine", "ph")
_LINE = {"id", "date", "kind", "value", "unit", "where", "method", "note"}
Work = Callable[[Store, Request, bytes], Response]


class StopDesk:
    """The handlers of the stop, for whoever the ``doorman`` lets in."""

    def __init__(self, doorman: Doorman) -> None:
        self._doorman = doorman
        self._turn = threading.Lock()  # units that changed are planned here: one list at a time
        self._pictures = threading.Semaphore(2)  # decoded at once

    def routes(self) -> list[Route]:
        """The page, its files, the list, and what takes entries, photos and the order."""
        files = [Route(path, self._file, methods=["GET"]) for path in _FILES]
        return [
            *files,
            Route("/stop/round", self._asked(self._round), methods=["GET"]),
            Route("/stop/entry", self._asked(_entry), methods=["POST"]),
            Route("/stop/order", self._asked(_order), methods=["POST"]),
            Route(PHOTO, self._asked(self._photo), methods=["POST"]),
        ]

    async def _file(self, request: Request) -> Response:
        name, kind = _FILES[request.url.path.rstrip("/")]
        if name == "stop.html":  # the first thing that is asked for: whoever is not signed in is sent to sign in
            try:
                await run_in_threadpool(self._doorman.place, request)
            except SignedOut:
                return RedirectResponse("/", 303)
            except BrewwaterError as error:
                return _problem(error, 503)
        data = (resources.files("brewwater.web") / "assets" / name).read_bytes()
        return Response(data, 200, {"cache-control": "no-cache", "service-worker-allowed": PAGE}, kind)

    def _asked(self, work: Work) -> Callable[[Request], Awaitable[Response]]:
        async def answer(request: Request) -> Response:
            if request.method == "POST" and request.headers.get(HEADER) != "1":
                return JSONResponse({"problem": "stop: the page of the stop sends this, no other."}, 403)
            body = await request.body()
            return await run_in_threadpool(self._answer, work, request, body)

        return answer

    def _answer(self, work: Work, request: Request, body: bytes) -> Response:
        try:
            return work(self._doorman.place(request), request, body)
        except SignedOut as error:
            return _problem(error, 401)
        except (InputError, NotAllowed, UnknownUnit) as error:
            return _problem(error, 422)
        except BrewwaterError as error:
            return _problem(error, 503)

    def _round(self, place: Store, request: Request, body: bytes) -> Response:
        with self._turn:
            found, left_out = unit_rounds(place)
        return JSONResponse(round_json(place, found, left_out, dt.date.today()), headers={"cache-control": "no-store"})

    def _photo(self, place: Store, request: Request, body: bytes) -> Response:
        asked = request.query_params
        with self._pictures:
            if len(body) > SENT_BYTES:
                raise InputError("photo", f"{len(body)} bytes", f"at most {SENT_BYTES} bytes are taken", "Send less.")
            new = place.add_photo(asked.get("unit", ""), asked.get("line", ""), asked.get("id", ""), clean_photo(body))
        journal.note("photo", new=int(new))
        return JSONResponse({"new": int(new)})


def _problem(error: BrewwaterError, status: int) -> Response:
    return JSONResponse({"problem": str(error)}, status, {"cache-control": "no-store"})


def whose(person: str) -> str:
    """A mark by which a phone tells one person's entries from another's, and from which nobody reads a name."""
    return hashlib.sha256(f"stop/{person}".encode()).hexdigest()[:16]


def fields_of(metric: bool) -> list[dict[str, str]]:
    """What is read and typed at a stop: kind, label, unit, where and how, as a line of the log has them."""
    volume, pressure = ("L", "kPa") if metric else ("gal", "psi")
    plain = [
        ("meter_gal", "Meter", volume, "", "meter"),
        ("pressure_in_psi", "In", pressure, "", "meter"),
        ("pressure_out_psi", "Out", pressure, "", "meter"),
        *((kind, LOG.label(kind), PLAN_UNITS.get(ANALYTE_OF[kind], ""), "served", "strip") for kind in _STRIPS),
    ]
    return [dict(zip(("kind", "label", "unit", "where", "method"), one, strict=True)) for one in plain]


def round_json(place: Store, found: list[UnitRound], left_out: list[str], today: dt.date) -> dict[str, Any]:
    """The round as the phone keeps it: units in the person's order, with what is due at each."""
    about = {unit.ref: unit for unit in place.units()}
    by_ref = {one.unit: one for one in found if one.unit in about}
    due = {ref: stops(one.nexts, today) for ref, one in by_ref.items()}
    chosen = place.round_order()
    # without an order of their own, units go by what is due first
    first = sorted(by_ref, key=lambda ref: (due[ref][0].due if due[ref] else dt.date.max, by_ref[ref].name))
    return {
        "who": whose(place.person),
        "day": today.isoformat(),
        "caution": BEFORE_A_CHANGE,
        "left_out": left_out,
        "chosen": bool(chosen),
        "fields": {"us": fields_of(False), "metric": fields_of(True)},
        "units": [
            {
                "ref": ref,
                "name": by_ref[ref].name,
                "town": by_ref[ref].town,
                "metric": by_ref[ref].metric,
                "may_edit": about[ref].may_edit,
                "cartridges": [list(pair) for pair in by_ref[ref].cartridges],
                "due": [
                    {"number": s.number, "cartridge": s.cartridge, "due": s.due.isoformat(), "state": s.state,
                     "parts": list(s.parts)}
                    for s in due[ref]
                ],
                "alarms": [alarm.text for alarm in by_ref[ref].alarms],
            }
            for ref in in_route(first, chosen)
        ],
    }  # fmt: skip


def _json(body: bytes) -> Mapping[str, Any]:
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, dict):
        raise InputError("stop", "what was sent", "a JSON object is needed", "Load the page again.")
    return found


def _line(given: object) -> Reading:
    if not isinstance(given, dict) or not all(isinstance(v, str) for v in given.values()) or set(given) - _LINE:
        raise InputError("line", "what was sent", f"texts named {', '.join(sorted(_LINE))} are taken", "Load it again.")
    fields = {name: given.get(name, "") for name in ("date", "kind", "value", "unit", "note")}
    more = {name: given[name] for name in ("id", "where", "method") if name in given}
    return reading_from_text(**fields, **more)


def _entry(place: Store, request: Request, body: bytes) -> Response:
    said = _json(body)
    lines = said.get("lines")
    if not isinstance(lines, list) or not 1 <= len(lines) <= MOST_LINES:
        limit = f"1 to {MOST_LINES} lines are taken at once"
        raise InputError("lines", "what was sent", limit, "Load the page again.")
    new = place.add_readings(str(said.get("unit", "")), [_line(one) for one in lines])
    journal.note("stop", lines=len(lines), new=new)
    return JSONResponse({"new": new})


def _order(place: Store, request: Request, body: bytes) -> Response:
    order = _json(body).get("order")
    mine = {unit.ref for unit in place.units()}
    if not isinstance(order, list) or len(order) > len(mine) or not all(map(mine.__contains__, map(str, order))):
        raise InputError("order", "what was sent", "units that you may open are needed", "Load the page again.")
    place.keep_round_order(list(dict.fromkeys(map(str, order))))
    return JSONResponse({"kept": len(order)})
