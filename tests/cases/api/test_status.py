"""Who gets which status: the rules of tenancy, role, state, version and reading."""

from typing import Any

import pytest
from django.core.exceptions import (
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
)
from django.db import DataError, IntegrityError, OperationalError
from django.http import Http404

from cases.api.views import cases as case_views
from cases.errors import NotFound, StorageUnavailable
from rules.errors import Fault, InvalidPayload
from tests.cases.api.conftest import Api, Caller, openapi
from tests.play import sufficient_unit

NO_ROW = "0000000000"


def _routes() -> list[tuple[str, str]]:
    """Return (method, path) of every operation that names a row."""
    return [
        (method, path.removeprefix("/api/v1/"))
        for path, operations in openapi()["paths"].items()
        for method in operations
        if "{code}" in path
    ]


def _call(caller: Caller, method: str, path: str) -> Any:
    if method == "get":
        return caller.get(path)
    if path.endswith("/attachments"):
        return caller.request("post", path, headers={"Idempotency-Key": "k"})
    if method == "patch":
        return caller.patch(path, {}, match=1)
    return caller.post(path, {}, match=1)


def _seen(response: Any) -> tuple[int, bytes, list[tuple[str, str]]]:
    return response.status_code, response.content, sorted(response.items())


@pytest.fixture
def codes(api: Api) -> dict[str, str]:
    """A case with a query, an order and a file, by the first part of the path."""
    code, order = api.released()
    flag = api.technician.do(
        code, "flags", {"reasons": ["shade"], "text": "Which?"}, expect=201
    )
    return {"cases": code, "flags": flag["code"], "work-orders": order}


@pytest.mark.parametrize("who", ["clinician_b", "technician_m"])
def test_another_organisations_row_looks_like_no_row(api: Api, codes, who: str):
    outsider = getattr(api, who)
    routes = _routes()
    assert len(routes) > 35
    for method, template in routes:
        real = codes[template.split("/")[0]]
        theirs = template.replace("{code}", real).replace("{attachment}", NO_ROW)
        nobodys = template.replace("{code}", NO_ROW).replace("{attachment}", NO_ROW)
        answers = [_seen(_call(outsider, method, path)) for path in (theirs, nobodys)]
        assert {a[0] for a in answers} == {404}, (method, template, answers[0])
        assert answers[0] == answers[1], (method, template)


def test_a_draft_does_not_exist_for_the_laboratory(api: Api):
    code = api.draft()
    for method, template in _routes():
        if not template.startswith("cases/"):
            continue
        path = template.replace("{code}", code).replace("{attachment}", NO_ROW)
        assert _call(api.technician, method, path).status_code == 404, template
    assert api.technician.get("cases").json()["items"] == []


@pytest.mark.parametrize(
    "code", ["x", "lowercase0", "0" * 11, "IIIIIIIIII", "%2e%2e", "' OR 1=1"]
)
def test_what_is_no_code_is_not_found(api: Api, code: str):
    assert api.clinician.get(f"cases/{code}").status_code == 404


def test_a_nul_in_an_address_is_refused(api: Api):
    assert api.clinician.get("cases/%00").status_code in {400, 404}
    assert api.clinician.get("cases?search=%00").status_code in {400, 422}


@pytest.mark.parametrize(
    ("who", "verb"),
    [
        ("assistant", "submit"),
        ("clinic_manager", "submit"),
        ("technician", "submit"),
        ("technician", "records"),
        ("technician", "fit"),
        ("technician", "change-request"),
        ("clinician", "receive"),
        ("clinician", "clear"),
        ("clinician", "release"),
        ("clinician", "internal-remake"),
        ("clinic_manager", "cancel"),
        ("assistant", "submit/preview"),
        ("clinician", "readings"),
    ],
)
def test_a_role_that_may_not_is_403(api: Api, who: str, verb: str):
    code = api.submitted()
    response = getattr(api, who).post(f"cases/{code}/{verb}", {}, match=1)
    assert response.status_code == 403
    assert response.json()["type"] == "urn:chairbench:problem:role-not-allowed"


def test_only_a_responsible_technician_countersigns(api: Api):
    _code, flag = api.flagged()
    response = api.technician.post(f"flags/{flag}/countersign", {"accept": True})
    assert response.status_code == 403
    assert "responsible technician" in response.json()["detail"]


def test_a_manager_may_not_begin_a_case(api: Api):
    response = api.clinic_manager.post("cases", api.draft_body())
    assert response.status_code == 403
    assert api.technician.post("cases", api.draft_body()).status_code == 403


@pytest.mark.parametrize(
    ("who", "verb", "body"),
    [
        ("technician", "clear", {}),
        ("technician", "release", {}),
        ("technician", "dispatch", {}),
        ("technician", "readings", {"readings": []}),
        ("clinician", "fit", {"fitted": True}),
        ("clinician", "receipt", {}),
        ("clinician", "resume", {}),
        ("clinician", "discard", {}),
        ("clinician", "resubmit", {}),
        ("clinician", "return", {"note": "x"}),
        ("clinician", "remake", {"cause": "shade"}),
    ],
)
def test_a_command_out_of_its_state_is_409(api: Api, who: str, verb: str, body: dict):
    code = api.submitted()
    caller = getattr(api, who)
    response = caller.post(f"cases/{code}/{verb}", body, match=caller.version(code))
    assert response.status_code == 409
    assert response.json()["type"] == "urn:chairbench:problem:illegal-transition"
    assert api.clinician.case(code)["state"] == "submitted"


def test_a_shut_gate_says_every_reason(api: Api):
    code = api.at_check()
    response = api.technician.post(
        f"cases/{code}/clear", match=api.technician.version(code)
    )
    assert response.status_code == 409
    assert response.json()["reasons"] == api.technician.case(code)["gate"]
    assert len(response.json()["reasons"]) == 1


def test_a_change_needs_the_version_it_saw(api: Api):
    code = api.submitted()
    path, version = f"cases/{code}/receive", api.technician.version(code)
    missing = api.technician.post(path, {})
    assert missing.status_code == 428
    stale = api.technician.post(path, {}, match=version - 1)
    assert stale.status_code == 412
    assert stale.json()["version"] == version
    assert api.technician.post(path, {}, match=version).status_code == 200


@pytest.mark.parametrize(
    ("stated", "status"),
    [
        ("*", 400),
        ("1", 400),
        ('"1", "2"', 400),
        ('"', 400),
        ('W/"1"', 412),
        ('"abc"', 412),
        ('""', 412),
        ('"0"', 412),
        ('"01"', 412),
        ('"99999999999999999999"', 412),
    ],
)
def test_other_forms_of_if_match(api: Api, stated: str, status: int):
    code = api.submitted()
    response = api.technician.post(f"cases/{code}/receive", {}, match=stated)
    assert response.status_code == status
    assert api.technician.case(code)["state"] == "submitted"


def test_the_version_of_a_flag_is_its_cases(api: Api):
    code, flag = api.flagged()
    path = f"flags/{flag}/withdraw"
    body = {"reason": "Found it."}
    assert api.technician.post(path, body).status_code == 428
    version = api.technician.version(code)
    assert api.technician.post(path, body, match=version - 1).status_code == 412
    done = api.technician.post(path, body, match=version)
    assert done.headers["ETag"] == f'"{version + 1}"'


def test_every_change_moves_the_version(api: Api):
    code = api.draft()
    seen = [api.clinician.version(code)]
    api.clinician.patch(f"cases/{code}", {}, match=seen[-1])
    seen.append(api.clinician.version(code))
    api.clinician.sign(f"cases/{code}/submit", code)
    seen.append(api.clinician.version(code))
    api.technician.do(code, "receive")
    seen.append(api.clinician.version(code))
    api.technician.do(code, "readings", {"readings": [_reading()]})
    seen.append(api.clinician.version(code))
    assert seen == sorted(set(seen))


def _reading() -> dict[str, Any]:
    return {"tooth": "36", **sufficient_unit()["readings"][0]}


def test_304_comes_after_permission(api: Api):
    code = api.submitted()
    version = api.clinician.version(code)
    same = api.clinician.get(f"cases/{code}", If_None_Match=f'"{version}"')
    assert (same.status_code, same.content) == (304, b"")
    assert same.headers["ETag"] == f'"{version}"'
    weak = api.clinician.get(f"cases/{code}", If_None_Match=f'"1", W/"{version}"')
    assert weak.status_code == 304
    other = api.clinician.get(f"cases/{code}", If_None_Match='"99"')
    assert other.status_code == 200
    stranger = api.clinician_b.get(f"cases/{code}", If_None_Match=f'"{version}"')
    assert stranger.status_code == 404
    anyone = api.clinician_b.get(f"cases/{code}", If_None_Match="*")
    assert anyone.status_code == 404


class _Gate(Exception):
    def __init__(self, sqlstate: str = "CB001") -> None:
        super().__init__(sqlstate)
        self.sqlstate = sqlstate


def _caused(error: Exception, cause: Exception) -> Exception:
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (OperationalError("deadlock"), 503, "try-again"),
        (DataError("value"), 400, "unreadable-value"),
        (_caused(IntegrityError("x"), _Gate()), 409, "conflict"),
        (_caused(IntegrityError("x"), _Gate("23505")), 500, "internal"),
        (NotFound(), 404, "not-found"),
        (StorageUnavailable(), 503, "storage-unavailable"),
        (Http404(), 404, "not-found"),
        (PermissionDenied(), 403, "not-allowed"),
        (RequestDataTooBig(), 413, "too-large"),
        (SuspiciousOperation(), 400, "bad-request"),
        (InvalidPayload([Fault("/a", "No.")]), 422, "invalid"),
    ],
)
def test_what_is_raised_below_is_a_problem(api: Api, monkeypatch, error, status, code):
    monkeypatch.setattr(case_views, "case_page", _raising(error))
    api.clinician.client.raise_request_exception = False
    response = api.clinician.get("cases")
    assert response.status_code == status
    assert response.json()["type"] == f"urn:chairbench:problem:{code}"
    assert ("Retry-After" in response.headers) == (status == 503)


def test_a_fault_of_ours_says_nothing_and_is_logged(api: Api, monkeypatch, caplog):
    monkeypatch.setattr(case_views, "case_page", _raising(KeyError("secret")))
    api.clinician.client.raise_request_exception = False
    response = api.clinician.get("cases")
    assert response.status_code == 500
    assert response.json() == {
        "type": "urn:chairbench:problem:internal",
        "title": "Internal error",
        "status": 500,
        "detail": "Internal error",
    }
    assert "secret" in caplog.text


def _raising(error: Exception) -> Any:
    def fail(**_more: Any) -> None:
        raise error

    return fail
