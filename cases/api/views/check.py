"""The stateless check, and the small services around it. Nothing is stored."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from rest_framework.request import Request

from cases import clock
from cases.api.authentication import actor_of
from cases.api.documented import Operation, reference
from cases.api.endpoint import Endpoint
from cases.api.fields import Body, listing
from cases.api.query import read_query
from cases.api.representations.rule_sets import materials_json, rule_set_json
from cases.api.representations.teeth import tooth_json
from cases.api.scalars import text, word
from cases.errors import Invalid, InvalidField
from cases.selectors.check_catalog import own_rule_set, rule_set_at
from cases.services.instruments_named import named_figures
from cases.services.units import invalid_from
from rules.check import run_check
from rules.errors import InvalidPayload, UnknownTooth
from rules.loader import shipped_rule_set
from rules.payload import check_json, parse_check
from rules.requirements import RuleSet
from rules.teeth import ALL_TEETH, from_palmer, from_universal, to_universal

__all__ = ["CheckClearance", "ConvertTeeth", "CurrentRuleSet", "Materials"]

# A derivation is some twenty sentences for each reading: 1000 make two megabytes.
EXPLAINED = 1000
TOO_MUCH = "Ask for the derivation of at most 1000 readings at once."

_WHICH = {"laboratory": text(40), "rule_set": text(64)}


def _stated(data: object, key: str) -> str:
    """Return a text of the body; the core calls anything else a fault."""
    value = data.get(key) if isinstance(data, Mapping) else None
    return value if isinstance(value, str) and len(value) <= 64 else ""


class CheckClearance(Endpoint):
    """Judge units and readings: verdicts and options; stores nothing."""

    throttle_scope = "check"
    operations = {"post": Operation(request=reference("CheckRequest"), returns="Check")}

    def post(self, request: Request) -> HttpResponse:
        """Check under the laboratory's rule set, one by digest, or the shipped."""
        rule_set, faults = self._rule_set(request, request.data)
        data, wrong = named_figures(
            request.data, actor=actor_of(request), rule_set=rule_set
        )
        faults = (*faults, *wrong)
        try:
            asked = parse_check(data, rule_set=rule_set)
        except InvalidPayload as error:
            raise Invalid(*faults, *invalid_from(error.faults).fields) from error
        if asked.explain and sum(len(u.readings) for u in asked.units) > EXPLAINED:
            faults = (*faults, InvalidField("/explain", TOO_MUCH))
        if faults:
            raise Invalid(*faults)
        return self.answer(check_json(run_check(rule_set, asked)))

    def _rule_set(
        self, request: Request, data: object
    ) -> tuple[RuleSet, tuple[Any, ...]]:
        """Return the rule set; the shipped one beside a fault where there is none."""
        try:
            found = rule_set_at(
                actor=actor_of(request),
                at=clock.now(),
                laboratory=_stated(data, "laboratory"),
                digest=_stated(data, "rule_set"),
            )
        except Invalid as error:
            return shipped_rule_set(), error.fields
        return found, ()


def _iso(tooth: str) -> str:
    to_universal(tooth)  # raises for what is no tooth
    return tooth


_SYSTEMS = {"iso3950": _iso, "universal": from_universal, "palmer": from_palmer}


class ConvertTeeth(Endpoint):
    """Say tooth numbers of one named system in all three; never guesses."""

    body = Body(
        {
            "from": word(tuple(_SYSTEMS)),
            "teeth": listing(text(12), at_most=len(ALL_TEETH), needed=True),
        }
    )
    operations = {"post": Operation(request=body.schema, returns="Teeth")}

    def post(self, request: Request) -> HttpResponse:
        """Convert every tooth, or name each that is none."""
        asked = self.body.read(request.data)
        read = _SYSTEMS[asked["from"]]
        items: list[dict[str, str]] = []
        faults: list[InvalidField] = []
        for index, given in enumerate(asked["teeth"]):
            try:
                items.append(tooth_json(given, read(given)))
            except UnknownTooth as error:
                params = {**error.params}
                faults += Invalid.one(f"/teeth/{index}", error.message, **params).fields
        if faults:
            raise Invalid(*faults)
        return self.answer({"items": items})


class Materials(Endpoint):
    """List the materials of a rule set with their usual cementation first."""

    operations = {"get": Operation(returns="Materials", query=_WHICH)}

    def get(self, request: Request) -> HttpResponse:
        """Answer for the laboratory, the digest, or the shipped set."""
        which = read_query(request, _WHICH)
        rule_set = rule_set_at(
            actor=actor_of(request),
            at=clock.now(),
            laboratory=which["laboratory"],
            digest=which["rule_set"],
        )
        return self.answer(materials_json(rule_set))


class CurrentRuleSet(Endpoint):
    """Show the rule set in force: a laboratory's, or the shipped one."""

    query = {"laboratory": text(40)}
    operations = {"get": Operation(returns="RuleSet", query=query)}

    def get(self, request: Request) -> HttpResponse:
        """Answer for the laboratory named, else the actor's own, else the shipped."""
        actor, at = actor_of(request), clock.now()
        laboratory = read_query(request, self.query)["laboratory"]
        if laboratory:
            found = rule_set_at(actor=actor, at=at, laboratory=laboratory)
        else:
            found = own_rule_set(actor=actor, at=at)
        return self.answer(rule_set_json(found))
