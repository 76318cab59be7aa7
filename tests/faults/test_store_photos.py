"""Photos of the log, the order of a round and the secret of a feed: kept once, whole or named as damaged, each person's
own, on both databases."""

from __future__ import annotations

import io
import json
import random
import sqlite3
from pathlib import Path

import pytest
from PIL import Image
from sqlalchemy import text

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import Reading
from brewwater.log.photo import KEPT_BYTES, MOST_PX, check_photo, clean_photo
from brewwater.store import NotAllowed, Store, UnknownUnit, make_engine, photos

ANN, BEA = "ann@example.org", "bea@example.org"
PHOTO = "ab" * 16


def camera(width: int = 2400, height: int = 1200, form: str = "JPEG", noise: int = 0, **more: object) -> bytes:
    """A picture as a phone sends it: a place, a device and a remark beside it, lying on its side."""
    plain = Image.new("RGB", (width, height), (200, 30, 30))
    if noise:
        dots = Image.frombytes("RGB", (noise, noise), random.Random(1).randbytes(3 * noise * noise))
        plain.paste(dots.resize((width, height), Image.Resampling.NEAREST))
    plain.paste((30, 30, 200), (0, 0, width // 2, height))
    tags = Image.Exif()
    tags[0x0112] = 6  # turn a quarter to the right
    tags[0x010F] = "A maker"
    tags.get_ifd(0x8825).update({1: "N", 2: (47.0, 22.0, 11.0), 3: "E", 4: (8.0, 32.0, 1.0)})
    out = io.BytesIO()
    plain.save(out, form, exif=tags, **more)
    return out.getvalue()


def line() -> Reading:
    return Reading(date="2026-03-31", kind="visited", note="all well")


class TestPicture:
    @pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
    def test_only_the_picture_is_kept(self, form: str) -> None:
        sent = camera(form=form, **({"comment": b"my street"} if form == "JPEG" else {}))
        kept = clean_photo(sent)
        with Image.open(io.BytesIO(kept)) as found:
            assert found.format == "JPEG"
            assert found.size == (MOST_PX // 2, MOST_PX)  # upright, and bounded
            assert not found.getexif()
            assert "comment" not in found.info
            red, _, blue = found.getpixel((400, 100))  # type: ignore[misc]
            assert blue > red  # what was left is on top
        assert b"A maker" not in kept
        assert b"Exif" not in kept
        assert len(kept) <= KEPT_BYTES
        assert check_photo(kept) == kept

    def test_a_picture_of_noise_is_bounded_too(self) -> None:
        assert len(clean_photo(camera(2000, 2000, noise=1000))) <= KEPT_BYTES

    @pytest.mark.parametrize("data", [b"", b"GIF89a", b"\xff\xd8\xff", b"x" * 13_000_000, camera()[:5000]])
    def test_what_is_no_picture(self, data: bytes) -> None:
        with pytest.raises(InputError) as error:
            clean_photo(data)
        assert "\n" not in str(error.value)

    def test_too_many_pixels_are_not_decoded(self) -> None:
        out = io.BytesIO()
        Image.new("1", (9_000, 9_000)).save(out, "PNG")
        with pytest.raises(InputError, match="pixels are taken"):
            clean_photo(out.getvalue())

    def test_what_a_file_brings_is_looked_at(self) -> None:
        for bad in (camera(100, 100), camera(100, 100, "PNG"), b"", clean_photo(camera())[:300]):
            with pytest.raises(InputError, match="photo"):
                check_photo(bad)


@pytest.fixture
def ann(store_url: str) -> Store:
    store = Store(make_engine(store_url), ANN)
    store.create_unit("Truck")
    return store


def test_a_photo_belongs_to_a_line_and_is_kept_once(ann: Store) -> None:
    mine, picture = line(), clean_photo(camera())
    with pytest.raises(InputError, match="line of the same log"):
        ann.add_photo("truck", mine.id, PHOTO, picture)
    ann.add_readings("truck", [mine])
    assert ann.add_photo("truck", mine.id, PHOTO, picture)
    assert not ann.add_photo("truck", mine.id, PHOTO, picture)  # sent again after a lost answer
    other = line()
    ann.add_readings("truck", [other])
    with pytest.raises(InputError, match="another line"):
        ann.add_photo("truck", other.id, PHOTO, picture)
    with pytest.raises(InputError, match="32 hexadecimal"):
        ann.add_photo("truck", other.id, "../x", picture)
    with pytest.raises(InputError, match="nothing beside"):
        ann.add_photo("truck", other.id, "cd" * 16, camera())
    assert [(p.id, p.line_id) for p in ann.photos("truck")] == [(PHOTO, mine.id)]
    assert ann.photo("truck", PHOTO) == picture
    assert [c.problem for c in ann.check()] == [""]


def test_a_unit_has_a_bounded_number(ann: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(photos, "MOST_PHOTOS", 2)
    mine, picture = line(), clean_photo(camera(80, 80))
    ann.add_readings("truck", [mine])
    for n in range(2):
        ann.add_photo("truck", mine.id, f"{n:032x}", picture)
    with pytest.raises(InputError, match="at most 2 photos"):
        ann.add_photo("truck", mine.id, "f" * 32, picture)


def test_a_units_file_carries_its_photos(ann: Store, tmp_path: Path) -> None:
    mine, picture = line(), clean_photo(camera())
    ann.add_readings("truck", [mine])
    assert json.loads(ann.export_unit("truck"))["format_version"] == 2  # as any older brewwater reads
    ann.add_photo("truck", mine.id, PHOTO, picture)
    text_ = ann.export_unit("truck")
    assert ann.restore_unit(text_) == "truck"  # the same already
    with Store(make_engine(f"sqlite:///{tmp_path / 'elsewhere' / 's.sqlite3'}")) as other:
        assert other.restore_unit(text_) == "truck"
        assert other.photo("truck", PHOTO) == picture
        assert [c.problem for c in other.check()] == [""]
        assert json.loads(other.export_unit("truck"))["content"]["photos"] == json.loads(text_)["content"]["photos"]


def test_person_b_sees_nothing_of_as_photos_order_and_feed(ann: Store) -> None:
    mine, picture = line(), clean_photo(camera())
    ann.add_readings("truck", [mine])
    ann.add_photo("truck", mine.id, PHOTO, picture)
    ann.keep_round_order(["truck"])
    one, _, secret = ann.make_feed().text.partition("-")
    bea = Store(ann.engine, BEA)
    bea.create_unit("Truck")
    theirs = "truck@ann@example.org"
    for ask in (
        lambda: bea.photos(theirs),
        lambda: bea.photo(theirs, PHOTO),
        lambda: bea.add_photo(theirs, mine.id, "cd" * 16, picture),
    ):
        with pytest.raises(UnknownUnit):
            ask()
    assert bea.photos("truck") == []
    with pytest.raises(InputError, match="none of that id"):
        bea.photo("truck", PHOTO)
    with pytest.raises(InputError, match="line of the same log"):
        bea.add_photo("truck", mine.id, PHOTO, picture)
    assert bea.round_order() == []
    assert bea.feed_made() is None
    bea.revoke_feed()
    assert bea.feed_person(one, secret) == (True, ANN)  # the secret tells whose it is, whoever asks
    ann.share("truck", BEA, False)
    assert bea.photo(theirs, PHOTO) == picture
    with pytest.raises(NotAllowed):
        bea.add_photo(theirs, mine.id, "cd" * 16, picture)
    assert [k.unit.ref for k in bea.rounds()] == ["truck", theirs]


def test_a_feeds_secret_is_not_kept_and_dies(ann: Store) -> None:
    first = ann.make_feed().text
    one, _, secret = first.partition("-")
    assert ann.feed_person(one, secret) == (True, ANN)
    assert ann.feed_person(one, secret[:-1]) == (True, None)
    assert ann.feed_person("0" * 16, secret) == (False, None)
    with ann.engine.connect() as connection:
        rows = str(connection.execute(text("SELECT * FROM brewwater_feed")).all())
    assert secret not in rows
    second = ann.make_feed().text
    assert ann.feed_person(one, secret) == (False, None)
    ann.revoke_feed()
    one, _, secret = second.partition("-")
    assert ann.feed_person(one, secret) == (False, None)
    assert ann.feed_made() is None


def test_the_order_is_kept_for_the_person(ann: Store) -> None:
    assert ann.round_order() == []
    ann.keep_round_order(["b", "a"])
    ann.keep_round_order(["a", "b"])
    assert ann.round_order() == ["a", "b"]
    ann.keep_round_order([])
    assert ann.round_order() == []


@pytest.mark.parametrize(
    "harm",
    [
        "UPDATE brewwater_photo SET body = x'00'",
        "UPDATE brewwater_photo SET body = 'text'",
        "UPDATE brewwater_photo SET line_id = '1'",
        "DELETE FROM brewwater_photo",
        "DELETE FROM brewwater_photo_seal",
    ],
)
def test_a_damaged_photo_is_named(harm: str, tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite3"
    with Store(make_engine(f"sqlite:///{path}")) as store:
        mine = line()
        store.create_unit("Truck")
        store.add_readings("truck", [mine])
        store.add_photo("truck", mine.id, PHOTO, clean_photo(camera(80, 80)))
    with sqlite3.connect(path) as connection:
        if "seal" not in harm:
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                connection.execute(harm)
            connection.execute("DROP TRIGGER brewwater_photo_no_UPDATE")
            connection.execute("DROP TRIGGER brewwater_photo_no_DELETE")
        connection.execute(harm)
    connection.close()
    with Store(make_engine(f"sqlite:///{path}")) as store:
        (found,) = store.check()
        assert "photo" in found.problem or "seal" in found.problem
        assert found.lines == 1
        with pytest.raises(StoreError, match="damaged"):
            [store.photo("truck", one.id) for one in store.photos("truck")]
        assert len(store.readings("truck")) == 1  # the log is whole
        with pytest.raises(StoreError, match="damaged"):
            store.export_unit("truck")


def test_a_store_of_the_third_format_opens_unchanged(tmp_path: Path) -> None:
    path = tmp_path / "brewwater.sqlite3"
    with Store(make_engine(f"sqlite:///{path}")) as store:
        store.create_unit("truck")
        store.add_readings("truck", [line()])
        before = json.loads(store.export_unit("truck"))["content"]
    with sqlite3.connect(path) as connection:  # as the third format was
        for name in ("photo", "photo_seal", "round_order", "feed"):
            connection.execute(f"DROP TABLE brewwater_{name}")
        connection.execute("DELETE FROM brewwater_about")
        connection.execute("INSERT INTO brewwater_about VALUES (3)")
    connection.close()
    with Store(make_engine(f"sqlite:///{path}")) as store:
        assert json.loads(store.export_unit("truck"))["content"] == before
        assert [c.problem for c in store.check()] == [""]
        (mine,) = store.readings("truck")
        assert store.add_photo("truck", mine.id, PHOTO, clean_photo(camera(80, 80)))
