"""The OpenAPI document: valid as 3.1, complete, closed to outsiders."""

import json

import jsonschema  # type: ignore[import-untyped]  # -- it ships no types
import yaml
from django.test import Client
from drf_spectacular.validation import validate_schema

from cases.api.documented import reference
from cases.api.urls import urlpatterns
from tests.cases.api.conftest import Api, openapi, validator

# The table of design section 6.
TABLE = """
POST check
POST teeth/convert
GET materials
GET rule-sets/current
GET cases
POST cases
GET cases/{code}
PATCH cases/{code}
POST cases/{code}/submit
POST cases/{code}/receive
POST cases/{code}/incomplete
POST cases/{code}/resubmit
POST cases/{code}/readings
POST cases/{code}/records
POST cases/{code}/recheck
POST cases/{code}/clear
POST cases/{code}/flags
POST cases/{code}/change-request
POST cases/{code}/messages
POST cases/{code}/attachments
POST cases/{code}/resume
POST cases/{code}/release
POST cases/{code}/try-in
POST cases/{code}/return
POST cases/{code}/dispatch
POST cases/{code}/receipt
POST cases/{code}/fit
POST cases/{code}/internal-remake
POST cases/{code}/remake
POST cases/{code}/cancel
POST cases/{code}/discard
GET cases/{code}/check
GET cases/{code}/timeline
POST signing-grants
POST flags/{code}/answer
POST flags/{code}/withdraw
POST flags/{code}/countersign
GET work-orders/{code}
GET work-orders/{code}.pdf
GET audit/summary
GET audit/rates
GET audit/causes
GET audit/control-chart
GET audit/funnel
GET audit/clearance
GET audit/queries
GET audit/cases
"""
# What a program needs beside it: to see what it signs, to read what was written.
BESIDE = """
POST cases/{code}/submit/preview
POST cases/{code}/resubmit/preview
POST cases/{code}/change-request/preview
POST cases/{code}/provisional
POST flags/{code}/answer/preview
POST flags/{code}/countersign/preview
GET cases/{code}/messages
GET cases/{code}/attachments
GET cases/{code}/attachments/{attachment}
GET cases/{code}/remakes/{remake}
POST cases/{code}/remakes/{remake}/statements
"""
WITHOUT_KEY = {"check", "teeth/convert"}
WITHOUT_VERSION = {"messages", "attachments", "statements"}


def _operations() -> dict[str, dict]:
    return {
        f"{method.upper()} {path.removeprefix('/api/v1/')}": operation
        for path, operations in openapi()["paths"].items()
        for method, operation in operations.items()
    }


def _headers(operation: dict) -> set[str]:
    return {
        p["name"]
        for p in operation.get("parameters", [])
        if p["in"] == "header" and p["required"]
    }


def test_the_document_is_openapi_3_1():
    assert openapi()["openapi"] == "3.1.0"
    validate_schema(openapi())


def test_the_document_lists_the_table_and_nothing_else():
    assert set(_operations()) == set(filter(None, f"{TABLE}{BESIDE}".split("\n")))


def test_every_route_is_in_the_document():
    routes = {
        str(p.pattern).replace("<str:", "{").replace(">", "}") for p in urlpatterns
    }
    listed = {path.removeprefix("/api/v1/") for path in openapi()["paths"]}
    assert routes - {"schema/"} == listed


def test_the_document_says_who_needs_a_key_and_a_version():
    for name, operation in _operations().items():
        method, path = name.split(" ")
        verb = path.rsplit("/", 1)[-1]
        wanted = set()
        stores = method == "POST" and verb != "preview" and path not in WITHOUT_KEY
        if stores:
            wanted.add("Idempotency-Key")
        commands = stores and "{code}" in path and verb not in WITHOUT_VERSION
        if commands or method == "PATCH":
            wanted.add("If-Match")
        assert _headers(operation) == wanted, name


def test_every_reference_leads_somewhere():
    components = openapi()["components"]["schemas"]
    named = set()

    def walk(value: object) -> None:
        if isinstance(value, dict):
            if isinstance(value.get("$ref"), str):
                named.add(value["$ref"].rsplit("/", 1)[1])
            for inner in value.values():
                walk(inner)
        elif isinstance(value, list):
            for inner in value:
                walk(inner)

    walk(openapi())
    assert named <= set(components)
    for schema in components.values():
        jsonschema.Draft202012Validator.check_schema(schema)


def test_operations_have_names_of_their_own():
    names = [operation["operationId"] for operation in _operations().values()]
    assert len(names) == len(set(names))


def test_the_document_is_served_to_those_who_may_call(api: Api):
    answer = api.clinician.get("schema/", Accept="application/vnd.oai.openapi+json")
    assert answer.status_code == 200
    assert json.loads(answer.content)["openapi"] == "3.1.0"
    refused = Client().get("/api/v1/schema/")
    assert refused.status_code == 401
    assert refused.headers["Content-Type"] == "application/problem+json"
    assert json.loads(refused.content)["status"] == 401


def test_the_yaml_is_the_same_document(api: Api):
    shown = api.clinician.get("schema/", Accept="application/vnd.oai.openapi+json")
    answer = api.clinician.get("schema/")
    assert answer.headers["Content-Type"].startswith("application/vnd.oai.openapi;")
    assert yaml.safe_load(answer.content) == json.loads(shown.content)


def test_an_answer_with_a_field_more_would_fail(api: Api):
    case = api.clinician.case(api.draft())
    holder = validator(json.dumps(reference("Case")))
    assert holder.is_valid(case)
    assert not holder.is_valid({**case, "owner": 1})
    assert not holder.is_valid({**case, "version": "1"})
    assert not holder.is_valid({k: v for k, v in case.items() if k != "gate"})
