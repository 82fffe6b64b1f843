"""A photo of what was found: made small, without where and when it was taken."""

import hashlib
import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.cases.case import Case
from api.cases.idempotency import Also
from api.store.models import CasePhoto, CaseRow

FORMATS = ("JPEG", "PNG", "WEBP")
MOST_PIXELS = 50_000_000  # of what is sent: a phone's camera has fewer
MOST_EDGE = 1600  # pixels of what is kept
MOST_BYTES = 600_000  # of what is kept
_QUALITIES = (82, 65, 45, 25)


class NotAPhoto(ValueError):  # noqa: N818 - it is what came, not a fault of ours
    """What was sent cannot be kept as a photo; the message says why."""


@dataclass(frozen=True)
class Photo:
    """A photo as it is kept: ``name`` is a digest of the JPEG in ``body``."""

    name: str
    body: bytes


def read_photo(sent: bytes) -> Photo:
    """Return what was sent as it is kept: a JPEG of its pixels alone. Raises NotAPhoto."""
    small = _pixels(sent)
    for quality in _QUALITIES:
        out = io.BytesIO()
        small.save(out, "JPEG", quality=quality, optimize=True)  # nothing but pixels is written
        if out.tell() <= MOST_BYTES:
            return Photo(hashlib.sha256(out.getvalue()).hexdigest()[:32], out.getvalue())
    raise NotAPhoto("This picture cannot be made small enough to keep.")


def _pixels(sent: bytes) -> Image.Image:
    """Return the picture upright and small, a new one that has no record of its taking."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            found = Image.open(io.BytesIO(sent), formats=FORMATS)
        if found.width * found.height > MOST_PIXELS:
            raise NotAPhoto("This picture is too large: at most 50 million pixels.")
        found.draft("RGB", (MOST_EDGE, MOST_EDGE))
        upright = ImageOps.exif_transpose(found).convert("RGB")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, SyntaxError) as error:
        raise NotAPhoto("This is no photo that can be read: send a JPEG, PNG or WebP.") from error
    upright.thumbnail((MOST_EDGE, MOST_EDGE))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    return bare


def keeping(photo: Photo | None, also: Also | None) -> Also | None:
    """Return what a step does besides: keep the photo, and what it would do anyhow."""
    if photo is None:
        return also

    def keep(session: Session, case: Case) -> None:
        order = session.scalars(select(CaseRow.order).where(CaseRow.number == case.number)).one()
        session.merge(CasePhoto(case_order=order, name=photo.name, body=photo.body))
        if also is not None:
            also(session, case)

    return keep
