"""The front end under test: AppTest on a plan of few draws, its store in a folder of its own."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, demo_document, mobile_template
from brewwater.web import planning, state

APP = Path(__file__).resolve().parents[2] / "app.py"
DRAWS = 64


def few_draws(document: PlanDocument, draws: int = DRAWS) -> PlanDocument:
    """The document with few draws: the pages are tested here, not the precision."""
    return document.model_copy(update={"settings": document.settings.model_copy(update={"draws": draws})})


class Front:
    """One session of the front end."""

    def __init__(self, document: PlanDocument, found: Plan | None = None) -> None:
        self.at = AppTest.from_file(str(APP), default_timeout=60)
        desk = state.new_desk(few_draws(document))
        desk.extra["patience"] = 0.0
        if found is not None:
            desk.extra["found"] = {planning._key(desk.typed): found}
            desk.train = found.candidate.stages
        self.at.session_state["desk"] = desk
        self.run()

    @property
    def desk(self) -> state.Desk:
        found = self.at.session_state["desk"]
        assert isinstance(found, state.Desk)
        return found

    @property
    def document(self) -> PlanDocument:
        return self.desk.typed

    def run(self) -> Front:
        self.at.run()
        self.sound()
        return self

    def sound(self) -> None:
        assert not self.at.exception, [e.message for e in self.at.exception]

    def go(self, address: str) -> Front:
        """Open a page by its address, and run once more: Streamlit forgets the left page's widgets then."""
        wanted = "" if address == "plan" else address
        pages: dict[str, Any] = self.at._registered_pages  # no public way to open a page that is a function
        self.at._page_hash = next(h for h, page in pages.items() if page.get("url_pathname") == wanted)
        self.run()
        return self.run()

    def html(self) -> str:
        """All blocks of plain HTML on the page, in order."""
        plain = [e.proto.body for e in self.at.get("html")]
        drawn = [e.value for e in self.at.markdown if e.allow_html]
        return "\n".join([*plain, *drawn])

    def errors(self) -> list[str]:
        return [e.value for e in self.at.error]

    def searched(self, seconds: float = 90.0) -> Front:
        """Wait for the search beside the page, then draw the page with what it found."""
        end = time.monotonic() + seconds
        while self.desk.extra.get("key") not in self.desk.extra.get("found", {}):
            assert time.monotonic() < end, "the search did not end"
            time.sleep(0.1)
            self.run()
        return self.run()

    def stamp(self) -> str:
        return next(c.value for c in self.at.caption if c.value.startswith("Plan "))


@pytest.fixture(autouse=True)
def _own_store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("BREWWATER_DATABASE_URL", raising=False)


@pytest.fixture(autouse=True)
def _own_searches() -> Iterator[None]:
    """Each test finds the queue of searches empty and no answer kept from another test."""
    searches = planning.searches()
    with searches._turn:
        searches._kept.clear()
    yield
    with searches._turn:
        for search in (*searches._line, *searches._at_work):
            for job in search.jobs:
                job.abandoned.set()
        searches._turn.notify_all()


@pytest.fixture(name="few_draws")
def _few_draws() -> Callable[[PlanDocument], PlanDocument]:
    return few_draws


@pytest.fixture(name="front_of")
def _front_of() -> type[Front]:
    return Front


@pytest.fixture
def front() -> Front:
    """The demo plan, few draws."""
    return Front(demo_document())


@pytest.fixture(scope="session")
def found() -> Plan:
    """The demo plan with its search, made once."""
    return make_plan(few_draws(demo_document()))


@pytest.fixture
def ready(found: Plan) -> Front:
    """The demo plan where the search has been made."""
    return Front(demo_document(), found)


@pytest.fixture
def open_page() -> type[Front]:
    """The front end on a document, with a plan that was made of it."""
    return Front


@pytest.fixture
def plain() -> Front:
    """A plain mobile unit of which no water is known."""
    return Front(mobile_template())


# -- the real browser (``kit`` and ``chromium``: one for every folder)


@pytest.fixture(scope="session")
def served(kit: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """The front end on a server of its own: its address and its data folder."""
    data = tmp_path_factory.mktemp("served")
    with kit.serving(APP, data) as address:
        yield address, data
