"""Files: recognised by content, rewritten without metadata, refused in words."""

import io
import struct
import zlib

import pytest
from PIL import Image

from cases import storage
from cases.errors import Invalid, NotFound
from cases.models import Attachment
from cases.selectors.records import attachment_content
from cases.services.attachments import attachment_add, clean_file
from cases.tenancy import acting
from tests.play import AT, Play, unit


def photo(form: str = "JPEG", **save) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 20), "red").save(out, form, **save)
    return out.getvalue()


def bomb() -> bytes:
    """A PNG of a few hundred bytes that claims 60,000 by 60,000 pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 100))
        + chunk(b"IEND", b"")
    )


def test_a_photo_is_rewritten_without_metadata():
    exif = Image.Exif()
    exif[0x010E] = "CANARY in the description"
    dirty = photo(exif=exif) + b"<script>CANARY</script>"
    assert b"CANARY" in dirty
    clean = clean_file(name="x.png", content=dirty)
    assert (clean.content_type, clean.name) == ("image/jpeg", "x.jpg")
    assert b"CANARY" not in clean.content
    with Image.open(io.BytesIO(clean.content)) as image:
        assert image.size == (40, 20)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"MZ\x90\x00 a renamed program",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
        b"\xff\xd8\xff\xe0 cut short",
        b"GIF89a" + b"\0" * 50,
        b"<html></html>",
        b"solid ascii-stl",
        bomb(),
        b"\0" * (10 * 2**20 + 1),
    ],
)
def test_what_is_not_a_picture_document_or_scan_is_refused(content):
    with pytest.raises(Invalid) as refused:
        clean_file(name="photo.jpg", content=content)
    assert refused.value.fields[0].pointer == "/file"


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../etc/passwd", "passwd.pdf"),
        ("a\r\nSet-Cookie: x.pdf", "aSet-Cookie: x.pdf"),
        ("фото.exe", "фото.pdf"),
        ("\u202egnp.exe", "gnp.pdf"),
        ("", "file.pdf"),
        ("n" * 300, "n" * 100 + ".pdf"),
    ],
)
def test_a_name_is_only_shown_never_a_path(name, shown):
    assert clean_file(name=name, content=b"%PDF-1.7 x").name == shown


def test_a_binary_stl_is_a_scan_by_its_length():
    content = b"\0" * 80 + struct.pack("<I", 2) + b"\0" * 100
    assert clean_file(name="scan", content=content).kind == "scan"
    with pytest.raises(Invalid):
        clean_file(name="scan.stl", content=content + b"x")


def test_a_file_of_a_draft_is_the_clinics_until_submission(play: Play):
    case = play.draft(unit())
    who = play.world.assistant
    with acting(who):
        row = attachment_add(
            actor=who,
            code=case.code,
            name="a.jpg",
            content=photo(),
            internal=False,
            at=AT,
        )
        found, content = attachment_content(
            actor=who, code=case.code, attachment=row.code
        )
        assert (found.pk, len(content)) == (row.pk, row.size)
    with acting(play.world.technician):
        assert Attachment.objects.count() == 0
    play.submit(case)
    lab = play.world.technician
    with acting(lab):
        attachment_content(actor=lab, code=case.code, attachment=row.code)


def test_a_file_is_found_under_its_own_case_only(play: Play):
    case, other = play.draft(unit()), play.draft(unit())
    who = play.world.assistant
    with acting(who):
        row = attachment_add(
            actor=who,
            code=case.code,
            name="a.jpg",
            content=photo(),
            internal=False,
            at=AT,
        )
        with pytest.raises(NotFound):
            attachment_content(actor=who, code=other.code, attachment=row.code)
        with pytest.raises(ValueError, match="not a key"):
            storage.get(f"../{row.storage_key}")
    with acting(play.world.outsider), pytest.raises(NotFound):
        attachment_content(
            actor=play.world.outsider, code=case.code, attachment=row.code
        )
