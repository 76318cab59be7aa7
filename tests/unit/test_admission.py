"""Who is let in: sign-ins that run out, sessions that were ended, people who were shut out; by clocks."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from sqlalchemy import text

from brewwater.cli import main
from brewwater.errors import InputError, StoreError
from brewwater.store import Store, access, make_engine

ANN = {"email": "Ann@x.example", "email_verified": True, "iat": 1_800_000_000, "sub": "1", "nonce": "n", "aud": ["b"]}
NOON = dt.datetime.fromtimestamp(1_800_000_000, dt.UTC)


class Watch:
    """A clock that the test sets, in seconds after Ann signed in."""

    def __init__(self) -> None:
        self.after = 0.0

    def __call__(self) -> dt.datetime:
        return NOON + dt.timedelta(seconds=self.after)


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
def kept(tmp_path: Path, watch: Watch) -> Store:
    return Store(make_engine(f"sqlite:///{tmp_path / 'brewwater.sqlite3'}"), clock=watch)


def test_a_sign_in_runs_out_to_the_second(kept: Store) -> None:
    ann = access.SignIn.of(ANN)
    assert (ann.person, ann.at) == ("ann@x.example", 1_800_000_000.0)
    for hours in (1, 12, 168):
        assert kept.refused(ann, hours, ann.at + 3600 * hours - 1) is None
        assert kept.refused(ann, hours, ann.at + 3600 * hours) == "expired"


def test_every_sign_in_is_a_session_of_its_own(kept: Store) -> None:
    first, again = access.SignIn.of(ANN), access.SignIn.of(ANN | {"nonce": "m"})
    assert first.session != again.session
    assert first == access.SignIn.of(dict(reversed(ANN.items())))
    kept.end_session(first)
    assert kept.refused(first, 12, first.at) == "ended"
    assert kept.refused(again, 12, first.at) is None


def test_shut_out_and_let_in_again(kept: Store, watch: Watch) -> None:
    early, bea = access.SignIn.of(ANN), access.SignIn.of(ANN | {"email": "bea@x.example"})
    watch.after = 100
    kept.shut_out(" ANN@x.example")
    late = access.SignIn.of(ANN | {"iat": ANN["iat"] + 200})
    assert [kept.refused(s, 12, early.at + 300) for s in (early, late, bea)] == ["out", "out", None]
    watch.after = 400
    kept.let_in("ann@x.example")
    new = access.SignIn.of(ANN | {"iat": ANN["iat"] + 401})
    assert [kept.refused(s, 12, early.at + 500) for s in (early, late, new, bea)] == ["ended", "ended", None, None]
    watch.after = 600
    kept.shut_out("ann@x.example")
    assert kept.refused(new, 12, early.at + 700) == "out"


def test_another_server_knows_at_once(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'brewwater.sqlite3'}"
    one, two = Store(make_engine(url)), Store(make_engine(url))
    ann = access.SignIn.of(ANN)
    assert two.refused(ann, 12, ann.at) is None
    one.shut_out(ann.person)
    assert two.refused(ann, 12, ann.at) == "out"


@pytest.mark.parametrize(
    "claims",
    [
        {"email": None},
        {"email_verified": False},
        {"email_verified": None},
        {"iat": None},
        {"iat": True},
        {"iat": "1800000000"},
        {"iat": 0},
        {"iat": float("nan")},
        {"iat": 1e300},
    ],
)
def test_claims_that_open_nothing(claims: dict[str, object]) -> None:
    with pytest.raises(InputError, match="sign-in"):
        access.SignIn.of(ANN | claims)


def test_decisions_are_only_ever_added_and_damage_lets_nobody_in(kept: Store) -> None:
    ann = access.SignIn.of(ANN)
    kept.shut_out(ann.person)
    kept.let_in(ann.person)
    for change in ("UPDATE brewwater_admission SET let_in = 1", "DELETE FROM brewwater_admission"):
        with pytest.raises(Exception, match="only ever added"), kept.engine.begin() as c:
            c.execute(text(change))
    with kept.engine.begin() as c:
        c.execute(text("DROP TRIGGER brewwater_admission_no_UPDATE"))
        c.execute(text("UPDATE brewwater_admission SET decided_at = 'x'"))
    with pytest.raises(StoreError, match="who is let in is damaged"):
        kept.refused(ann, 12, ann.at)


def test_hours_of_a_session() -> None:
    assert access.session_hours({}) == access.session_hours({"brewwater": {"hosts": ["a"]}}) == 12
    assert access.session_hours({"brewwater": {"session_hours": 1}}) == 1
    for bad in (0, 169, -1, True, 1.5, "12", None):
        with pytest.raises(InputError, match="1 to 168"):
            access.session_hours({"brewwater": {"session_hours": bad}})


def test_the_keepers_commands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    monkeypatch.delenv("BREWWATER_DATABASE_URL", raising=False)
    with Store.open_default("ann@x.example") as place:
        place.create_unit("Truck")
    assert main(["people", "out", "Bea@x.example"]) == 0
    assert main(["people", "out", "nobody"]) == 2
    assert main(["people", "list"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[0] == "bea@x.example: shut out"
    assert said[1] == "ann@x.example  1 units  may sign in"
    assert said[2].startswith("bea@x.example  0 units  shut out since 20")
    assert main(["people", "in", "bea@x.example"]) == 0
    assert main(["people", "list"]) == 0
    assert "bea@x.example  0 units  may sign in" in capsys.readouterr().out
