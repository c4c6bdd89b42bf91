"""The verification page: genuine, current, and not a word more, for anybody."""

import pytest
from django.core.cache import cache
from django.test import Client

from cases.views.verify import PER_MINUTE
from tests.cases.views.conftest import Desk
from tests.play import sufficient_unit


@pytest.fixture(autouse=True)
def uncounted():
    cache.clear()
    yield
    cache.clear()


def released(desk: Desk):
    case = desk.play.at_check(sufficient_unit())
    desk.play.clear(case)
    return case, desk.play.release(case)


def ask(code: str, digest: str) -> str:
    response = Client().get(f"/verify/{code}/{digest}/")
    assert response.status_code == 200
    return response.content.decode()


def test_it_tells_genuine_and_current_without_signing_in(desk: Desk):
    _case, order = released(desk)
    page = ask(order.code, order.content_sha256)
    assert "Genuine and current." in page
    for secret in ("P-100", "Clinic A", "Laboratory L", "Clinician", "36"):
        assert secret not in page.replace(order.content_sha256, "")


def test_a_suspended_or_superseded_order_is_not_current(desk: Desk):
    case, order = released(desk)
    browser = desk.browser("technician")
    browser.post(
        f"/cases/{case.code}/flag/",
        {
            "version": desk.fresh(case).version,
            "reasons": ["shade"],
            "text": "Which shade?",
        },
    )
    assert "Genuine, but suspended." in ask(order.code, order.content_sha256)
    desk.browser("clinician").post(
        f"/cases/{case.code}/cancel/",
        {"version": desk.fresh(case).version, "reason": "Moved away."},
    )
    assert "Genuine, but superseded." in ask(order.code, order.content_sha256)


@pytest.mark.parametrize(
    ("code", "digest"),
    [
        ("0000000000", "0" * 64),
        ("x", "y"),
        ("0" * 200, "f" * 200),
        ("%27%3B--", "%3Cb%3E"),
    ],
)
def test_anything_else_is_not_genuine(db: None, code: str, digest: str):
    page = ask(code, digest)
    assert "Not genuine." in page
    assert "<b>" not in page


def test_another_digest_or_code_is_not_genuine(desk: Desk):
    _case, order = released(desk)
    digest = order.content_sha256
    wrong = digest[:-1] + ("0" if digest[-1] != "0" else "1")
    assert "Not genuine." in ask(order.code, wrong)
    assert "Not genuine." in ask("0123456789", digest)


def test_a_script_is_slowed_down(db: None):
    browser = Client()
    for _again in range(PER_MINUTE):
        assert browser.get("/verify/0000000000/" + "0" * 64 + "/").status_code == 200
    refused = browser.get("/verify/0000000000/" + "0" * 64 + "/")
    assert refused.status_code == 429
    assert refused["Retry-After"] == "60"
