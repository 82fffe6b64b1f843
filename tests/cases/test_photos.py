"""Photos of what was found: small, bare of where they were taken, gone with the person."""

import io

import pytest
from flask.testing import FlaskClient
from PIL import Image

from api.cases import Book, NoSuchFinding, photos
from api.cases.erasure import erase, forget
from api.cases.photos import MOST_BYTES, MOST_EDGE, NotAPhoto, read_photo
from api.store import Database
from engine import RequestError
from tests.cases.conftest import MACHINE, VOLTS

GPS, MAKER, ORIENTATION = 0x8825, 0x010F, 0x0112


def taken(width: int = 2400, height: int = 1200, kind: str = "JPEG") -> bytes:
    """Return a photo as a phone takes it: lying on its side, with place and time in it."""
    exif = Image.Exif()
    exif[MAKER], exif[ORIENTATION] = "invented camera", 6
    exif[GPS] = {1: "N", 2: (52.0, 31.0, 12.0), 3: "E", 4: (13.0, 24.0, 18.0)}
    out = io.BytesIO()
    Image.effect_noise((width, height), 90).convert("RGB").save(out, kind, exif=exif)
    return out.getvalue()


def test_only_pixels_are_kept() -> None:
    """Place, time and camera are gone, the picture stands upright, and it is small."""
    kept = read_photo(taken()).body
    found = Image.open(io.BytesIO(kept))
    assert not found.getexif()
    assert b"Exif" not in kept
    assert b"camera" not in kept
    assert found.height == MOST_EDGE == 2 * found.width
    assert len(kept) <= MOST_BYTES


@pytest.mark.parametrize("sent", [b"", b"GIF89a", taken(8, 8)[:60], b"<svg/>", b"\xff\xd8\xff" * 9])
def test_what_is_no_photo_is_refused(sent: bytes) -> None:
    """Other files, and pieces of a photo, are refused in words."""
    with pytest.raises(NotAPhoto, match="no photo that can be read"):
        read_photo(sent)


def test_a_photo_that_would_fill_the_memory_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture of too many pixels is refused before it is unpacked."""
    monkeypatch.setattr(photos, "MOST_PIXELS", 63)
    with pytest.raises(NotAPhoto, match="too large"):
        read_photo(taken(8, 8, "PNG"))


@pytest.mark.both_databases
def test_a_photo_has_an_address(
    client: FlaskClient, book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The case tells where a finding's photo is, to whoever may read it, and a bounded number."""
    number = book.open({"machine": MACHINE}, "Bo").number
    photo = read_photo(taken(40, 30))
    monkeypatch.setattr("api.cases.edits.MOST_PHOTOS", 2)
    for _ in range(2):
        book.add_findings(number, [VOLTS], "Bo", photo=photo)
    with pytest.raises(RequestError, match="2 photos"):
        book.add_findings(number, [VOLTS], "Bo", photo=photo)
    found = client.get(f"/v1/cases/{number}").get_json()["findings"]
    (address,) = found[0]["photos"]
    shown = client.get(address)
    assert (shown.mimetype, shown.data) == ("image/jpeg", photo.body)
    assert client.get(address, headers={"If-None-Match": shown.headers["ETag"]}).status_code == 304
    assert client.get(address[:-1]).status_code == 404


@pytest.mark.parametrize("by_name", [True, False], ids=["a name", "old cases"])
def test_photos_go_with_the_person(book: Book, database: Database, by_name: bool) -> None:
    """Erasing who is named in a case, or forgetting old ones, takes its photos out of the store."""
    number = book.open({"machine": MACHINE, "complaint": "says Quexlei"}, "Bo").number
    book.add_findings(number, [VOLTS], "Bo", photo=read_photo(taken(40, 30)))
    (address,) = book.get(number).findings[0].photos or ()
    book.close(number, {"cause": "ground-resistive"}, "Bo", None)
    if by_name:
        erase(database, ["Quexlei"])
    else:
        assert forget(database, "2999-01-01") == 1
    assert book.get(number).findings[0].photos is None
    with pytest.raises(NoSuchFinding):
        book.photo(number, address.rpartition("/")[2])
