"""Files of a case: type and size by content, photos rewritten without metadata.

Pillow decodes and writes photos again, which drops position, comments and
anything hidden behind the image; a PDF, STL or PLY cannot be rewritten, so it
is recognised by its first bytes and only ever handed out as a download.
"""

import io
import unicodedata
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import transaction
from PIL import Image, ImageOps

from cases import storage, timeline
from cases.canonical import sha256_hex
from cases.enums import AuditEvent, Side
from cases.errors import Invalid, NotAllowed
from cases.lifecycle import CaseState, Command
from cases.models import Attachment
from cases.services.base import other_side, tell
from cases.services.thread import case_to_write
from cases.tenancy import Actor

__all__ = ["CleanFile", "attachment_add", "clean_file"]

# 40 megapixels: above any camera used at the chair, below what fills memory.
MAX_PIXELS = 40_000_000
_FORMATS = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}
_PLY_START = b"ply"


@dataclass(frozen=True, slots=True)
class CleanFile:
    """Content that may be stored: its kind, type and a harmless name."""

    kind: str
    content_type: str
    name: str
    content: bytes


def _safe_name(name: str, extension: str) -> str:
    """Return a display name: no path, no control characters, our extension."""
    base = name.replace("\\", "/").rsplit("/", 1)[-1].rsplit(".", 1)[0]
    shown = "".join(
        c for c in base if unicodedata.category(c)[0] not in "CZ" or c == " "
    ).strip(". ")
    return f"{shown[:100] or 'file'}.{extension}"


def _photo(name: str, content: bytes) -> CleanFile:
    try:
        with Image.open(io.BytesIO(content), formats=tuple(_FORMATS)) as image:
            if image.width * image.height > MAX_PIXELS:
                raise Invalid.one(
                    "/file",
                    "The picture has too many pixels; send one of at most 40 million.",
                )
            # Converting copies the pixels alone; what else the file held is dropped
            # when the pixels are written anew.
            fresh = ImageOps.exif_transpose(image).convert("RGB")
            fresh.info.clear()
    except Invalid:
        raise
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise Invalid.one(
            "/file", "This is not a picture that can be read: send JPEG, PNG or WebP."
        ) from error
    out = io.BytesIO()
    fresh.save(out, "JPEG", quality=90)
    return CleanFile("photo", "image/jpeg", _safe_name(name, "jpg"), out.getvalue())


def _is_stl(content: bytes) -> bool:
    if len(content) < 84:
        return False
    triangles = int.from_bytes(content[80:84], "little")
    return len(content) == 84 + 50 * triangles and triangles > 0


def clean_file(*, name: str, content: bytes) -> CleanFile:
    """Return the file as it may be stored, recognised by content not by name.

    Raises:
        Invalid: empty, over 10 MB, or not a photo, PDF, STL or PLY.
    """
    limit = settings.MAX_ATTACHMENT_BYTES
    if not content:
        raise Invalid.one("/file", "The file is empty. Choose another one.")
    if len(content) > limit:
        raise Invalid.one(
            "/file", "The file is larger than {limit} MB.", limit=str(limit // 2**20)
        )
    head = content[:16]
    if head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")) or (
        head[:4] == b"RIFF" and head[8:12] == b"WEBP"
    ):
        return _photo(name, content)
    if head.startswith(b"%PDF-"):
        return CleanFile(
            "document", "application/pdf", _safe_name(name, "pdf"), content
        )
    if _is_stl(content):
        return CleanFile("scan", "model/stl", _safe_name(name, "stl"), content)
    if head.startswith((_PLY_START + b"\n", _PLY_START + b"\r\n")):
        return CleanFile(
            "scan", "application/octet-stream", _safe_name(name, "ply"), content
        )
    raise Invalid.one(
        "/file",
        "This kind of file cannot be attached: send a photo (JPEG, PNG, WebP), a PDF "
        "or a scan (binary STL, PLY). The content decides, not the name.",
    )


@transaction.atomic
def attachment_add(
    *, actor: Actor, code: str, name: str, content: bytes, internal: bool, at: datetime
) -> Attachment:
    """Clean, store and record a file of the case.

    Raises:
        Invalid: the file cannot be accepted; nothing is stored.
        NotAllowed: an internal file by the clinic.
    """
    case = case_to_write(actor=actor, code=code, command=Command.ATTACH)
    if internal and actor.side != Side.LABORATORY:
        raise NotAllowed("Internal files are the laboratory's.")
    clean = clean_file(name=name, content=content)
    draft = case.state == CaseState.DRAFT
    row = Attachment.objects.create(
        case=case,
        uploaded_by_id=actor.membership_id,
        uploaded_by_name=actor.name,
        side=actor.side,
        internal=internal,
        kind=clean.kind,
        file_name=clean.name,
        content_type=clean.content_type,
        size=len(clean.content),
        sha256=sha256_hex(clean.content),
        storage_key=storage.put("file", clean.content),
        uploaded_at=at,
        submitted_at=None if draft else at,
    )
    if draft:
        return row
    entry = timeline.record(
        case=case,
        event=AuditEvent.ATTACHMENT_ADDED,
        actor=actor,
        at=at,
        before=case.state,
        content={"attachment": row.code, "sha256": row.sha256},
        internal=internal,
    )
    if not internal:
        tell(
            case=case,
            organisation_id=other_side(case, actor),
            kind=AuditEvent.ATTACHMENT_ADDED.value,
            key=str(entry.pk),
            at=at,
        )
    return row
