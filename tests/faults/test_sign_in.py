"""Sign-in end to end in a real browser: an OpenID provider, two servers on one database, one proxy in front of them.

Time runs out by a clock that the provider and the servers share and the test moves.
"""

from __future__ import annotations

import importlib.util
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from brewwater.cli import main
from brewwater.planning.document import demo_document
from brewwater.store import Store, make_engine
from brewwater.web.state import as_document

HERE = Path(__file__).resolve()
ANN, BEA = "ann@x.example", "bea@x.example"
NAME = "brew.localhost"  # a browser asks this machine for it; only the redirect address lets the servers know it
HOUR = 3600.0


def _module(place: Path) -> Any:
    spec = importlib.util.spec_from_file_location(f"sign_in_{place.stem}", place)
    assert spec is not None and spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = made
    spec.loader.exec_module(made)
    return made


@dataclass
class Fleet:
    """Two servers behind a proxy, and what stands around them."""

    address: str
    database: str
    folder: Path
    clock: Any
    provider: Any
    proxy: Any
    browser: Any

    def store(self, person: str) -> Store:
        return Store(make_engine(self.database), person)


@pytest.fixture(scope="module")
def fleet(postgres: Any, kit: ModuleType, chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Fleet]:
    pytest.importorskip("authlib", reason="Authlib (fleet extra) is not installed")
    pytest.importorskip("httpx", reason="httpx (fleet extra) is not installed")
    parts = _module(HERE.with_name("sign_in_parts.py"))
    folder = tmp_path_factory.mktemp("fleet")
    database = postgres.new_database()
    for person, unit in ((ANN, "Ann truck"), (BEA, "Bea cart")):
        _unit(Store(make_engine(database), person), unit)
    id_port, door_port, *ports = (kit.free_port() for _ in range(4))
    address = f"http://{NAME}:{door_port}"
    clock = parts.MovedClock(folder / "clock")
    provider = parts.Provider(f"http://127.0.0.1:{id_port}", f"{address}/oauth2callback", clock)
    shutil.copytree(HERE.parents[2] / ".streamlit", folder / ".streamlit")
    (folder / ".streamlit" / "secrets.toml").write_text(
        f'[auth]\nredirect_uri = "{address}/oauth2callback"\ncookie_secret = "{"s" * 40}"\nclient_id = "brew"\n'
        f'client_secret = "{provider.client.secret}"\n'
        f'server_metadata_url = "{provider.address}/.well-known/openid-configuration"\n'
    )
    with ExitStack() as stack, pytest.MonkeyPatch.context() as patch:
        patch.setenv("AUTHLIB_INSECURE_TRANSPORT", "1")  # the provider speaks plain HTTP, on loopback
        stack.enter_context(parts.listening(provider.app(), id_port))
        servers = [stack.enter_context(parts.server(folder, clock, port, database)) for port in ports]
        proxy = parts.Proxy(servers)
        stack.enter_context(parts.listening(proxy.app(), door_port))
        yield Fleet(address, database, folder, clock, provider, proxy, chromium)


def _unit(store: Store, name: str) -> None:
    document = demo_document()
    few = document.model_copy(update={"name": name, "settings": document.settings.model_copy(update={"draws": 16})})
    store.save_plan(store.create_unit(name).ref, as_document(few), 0)


class Visitor:
    """Somebody with a browser of their own."""

    def __init__(self, fleet: Fleet, headers: dict[str, str] | None = None, cookies: Any = ()) -> None:
        self.fleet = fleet
        self.context = fleet.browser.new_context(extra_http_headers=headers or {})
        self.context.set_default_timeout(60_000)
        if cookies:
            self.context.add_cookies(cookies)
        self.page = self.context.new_page()

    def open(self, path: str = "/") -> Visitor:
        self.page.goto(self.fleet.address + path)
        return self

    def sign_in(self, name: str) -> Visitor:
        self.page.locator(".st-key-sign_in button").click()
        self.page.get_by_role("button", name=name, exact=True).click()
        return self

    def inside(self, unit: str) -> Visitor:
        """The page shows this unit."""
        self.page.locator(".st-key-bar").get_by_text(unit).wait_for()
        return self

    def outside(self, why: str = "") -> Visitor:
        """Nothing but the way to sign in, and why."""
        self.page.locator(".st-key-sign_in button").wait_for()
        self.page.get_by_text("Save", exact=True).wait_for(state="hidden")
        text = self.page.locator("[data-testid=stApp]").inner_text()
        assert why in text, text
        assert "truck" not in text and "cart" not in text
        return self

    def press(self) -> Visitor:
        """An action: from US to metric measures, or back."""
        self.page.locator(".st-key-units label:has(input:not(:checked))").click()
        return self

    def tab(self) -> Visitor:
        """Another tab of the same browser."""
        made = object.__new__(Visitor)
        made.fleet, made.context, made.page = self.fleet, self.context, self.context.new_page()
        return made


@pytest.fixture
def visitor(fleet: Fleet) -> Iterator[Callable[..., Visitor]]:
    """Makes visitors; their browsers are closed at the end."""
    made: list[Visitor] = []

    def one(**more: Any) -> Visitor:
        made.append(Visitor(fleet, **more))
        return made[-1]

    yield one
    for seen in made:
        seen.context.close()


def keeper(fleet: Fleet, monkeypatch: pytest.MonkeyPatch, *words: str) -> None:
    monkeypatch.setenv("BREWWATER_DATABASE_URL", fleet.database)
    assert main(["people", *words]) == 0


def test_two_people_two_servers_one_way_out(fleet: Fleet, visitor: Callable[..., Visitor]) -> None:
    ann = visitor().open().outside().sign_in("ann").inside("Ann truck")
    bea = visitor().open().outside().sign_in("bea").inside("Bea cart")
    assert all(fleet.proxy.answered)  # each came to a server of their own
    # a unit of somebody else is not there, and says nothing of itself
    bea.open(f"/?unit=ann-truck@{ANN}").page.get_by_text("is not among the units you may open").wait_for()
    assert "Ann truck" not in bea.page.locator("[data-testid=stApp]").inner_text()
    # on the other server the same sign-in is good: both have the secret, and neither keeps anything
    cookies = {c["name"]: c for c in ann.context.cookies()}
    before = list(fleet.proxy.answered)
    stay = cookies.pop(fleet.proxy.COOKIE)
    other = str(1 - int(stay["value"]))
    visitor(cookies=[*cookies.values(), stay | {"value": other}]).open().inside("Ann truck")
    assert fleet.proxy.answered[int(other)] > before[int(other)]
    # out in one tab: out in the other at its next action, and for a copy of the cookie
    second = ann.tab().open().inside("Ann truck")
    ann.page.locator(".st-key-sign_out button").click()
    ann.outside()
    second.press().outside("this session was ended")
    visitor(cookies=list(cookies.values())).open().outside("this session was ended")
    bea.open().inside("Bea cart")


STOP = """async ([path, lines]) => {
  const sent = lines && {method: "POST", body: JSON.stringify(lines), headers: {"x-brewwater-stop": "1"}};
  const answer = await fetch(path, sent || {});
  return [answer.status, await answer.text()];
}"""


def test_the_stop_knows_who_is_signed_in(fleet: Fleet, visitor: Callable[..., Visitor]) -> None:
    nobody = visitor().open("/stop").outside()
    assert nobody.page.evaluate(STOP, ["/stop/round", None])[0] == 401
    ann = visitor().open().sign_in("ann").inside("Ann truck")
    line = {"id": "ab" * 16, "date": "2026-12-01", "kind": "visited", "note": "from the stop"}
    status, said = ann.page.evaluate(STOP, ["/stop/entry", {"unit": "bea-cart@" + BEA, "lines": [line]}])
    assert status == 422 and "not among the units" in said
    assert ann.page.evaluate(STOP, ["/stop/entry", {"unit": "ann-truck", "lines": [line]}]) == [200, '{"new":1}']
    assert fleet.store(ANN).readings("ann-truck")[-1].recorded_by == ANN
    ann.open("/stop").page.get_by_text("Ann truck").wait_for()
    assert "Bea" not in ann.page.locator("body").inner_text()
    second = ann.tab().open().inside("Ann truck")
    second.page.locator(".st-key-sign_out button").click()
    second.outside()
    assert ann.page.evaluate(STOP, ["/stop/round", None])[0] == 401  # the session is ended here too


def test_revoked_by_the_keeper(
    fleet: Fleet, visitor: Callable[..., Visitor], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    ann = visitor().open().sign_in("ann").inside("Ann truck")
    bea = visitor().open().sign_in("bea").inside("Bea cart")
    keeper(fleet, monkeypatch, "out", BEA)
    bea.press().outside("this account was shut out")
    assert fleet.store(BEA).history("bea-cart")[0].version == 1
    bea.sign_in("bea").outside("this account was shut out")
    ann.press().inside("Ann truck")
    keeper(fleet, monkeypatch, "list")
    listed = capsys.readouterr().out
    assert f"{ANN}  1 units  may sign in\n" in listed
    assert f"{BEA}  1 units  shut out since 20" in listed
    keeper(fleet, monkeypatch, "in", BEA)
    bea.open().outside("this session was ended")  # let in again is not the old session again
    fleet.clock.ahead(60)
    bea.sign_in("bea").inside("Bea cart")


def test_a_sign_in_runs_out(fleet: Fleet, visitor: Callable[..., Visitor]) -> None:
    ann = visitor().open().sign_in("ann").inside("Ann truck")
    try:
        fleet.clock.ahead(11.75 * HOUR)
        ann.press().page.get_by_text("The sign-in ends in").wait_for()
        ann.inside("Ann truck")
        fleet.clock.ahead(12 * HOUR + 120)
        ann.press().outside("it was 12 hours ago and has run out")
        ann.open().outside("it was 12 hours ago and has run out")  # nor in a new page with the old cookie
        ann.sign_in("ann").inside("Ann truck")
    finally:
        fleet.clock.ahead(60)


def test_nothing_that_is_sent_stands_for_a_sign_in(fleet: Fleet, visitor: Callable[..., Visitor]) -> None:
    said = {
        "X-Forwarded-Email": ANN,
        "X-Forwarded-User": ANN,
        "X-Auth-Request-Email": ANN,
        "Forwarded": "for=127.0.0.1",
    }
    visitor(headers=said).open().outside()
    forged = {
        "name": "_streamlit_user",
        "value": "eyJlbWFpbCI6ImFubkB4LmV4YW1wbGUifQ.aaaaaa.bbbb",
        "url": fleet.address,
    }
    visitor(cookies=[forged]).open().outside()
    fleet.provider.verified = False
    try:
        visitor().open().sign_in("ann").outside("a verified e-mail address is needed")
    finally:
        fleet.provider.verified = True


def test_the_journals_name_nobody(fleet: Fleet) -> None:
    told = "".join(place.read_text() for place in fleet.folder.glob("journal-*"))
    assert " INFO start version=" in told and "sign_in=1" in told
    assert "@" not in told and "ann" not in told.lower().replace("cannot", "")
