"""A photo in the conversation: seen by the other side, judged by its content."""

import io

import pytest
from PIL import Image
from playwright.sync_api import FilePayload, Page, expect

from tests.browser.hands import press, sign_in
from tests.browser.windows import Windows
from tests.play import Play, unit

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "relay"]),
]
WORDS = "Here we held the strip."


def photo() -> FilePayload:
    """Return a small picture as a phone would send it."""
    raw = io.BytesIO()
    Image.new("RGB", (60, 40), "#886644").save(raw, "JPEG")
    return FilePayload(name="strip.jpg", mimeType="image/jpeg", buffer=raw.getvalue())


def write(page: Page, file: FilePayload) -> None:
    """Write a message with a file."""
    page.get_by_label("Message", exact=True).fill(WORDS)
    page.get_by_text("Add a photo, PDF or scan").click()
    page.get_by_label("File").set_input_files(file)
    press(page, "Send")


def test_a_photo_from_the_phone_is_seen_at_the_bench(play: Play, windows: Windows):
    case = play.at_check(unit())
    phone, bench = windows.phone(), windows.desk()
    sign_in(phone, play.world.assistant)
    phone.goto(f"/cases/{case.code}/")
    write(phone, photo())
    expect(phone.locator(".thread")).to_contain_text(WORDS)

    sign_in(bench, play.world.technician)
    bench.goto(f"/cases/{case.code}/")
    picture = bench.locator(".thread img")
    picture.scroll_into_view_if_needed()
    expect(picture).to_have_js_property("complete", True)
    assert picture.evaluate("image => image.naturalWidth") == 60
    assert picture.get_attribute("alt")


def test_a_renamed_program_is_refused_and_the_words_kept(play: Play, windows: Windows):
    windows.watch.expect(422)
    case = play.at_check(unit())
    phone = windows.phone()
    sign_in(phone, play.world.assistant)
    phone.goto(f"/cases/{case.code}/")
    write(
        phone,
        FilePayload(name="strip.jpg", mimeType="image/jpeg", buffer=b"MZ" + bytes(999)),
    )

    expect(phone.locator("#conversation [data-errors]")).to_be_focused()
    expect(phone.get_by_label("Message", exact=True)).to_have_value(WORDS)
    expect(phone.locator(".thread")).to_have_count(0)
