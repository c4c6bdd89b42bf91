"""The names behind the numbers of an audit, and by what a viewer may narrow it."""

from collections.abc import Iterable
from typing import Final

from django.db import connection

from cases.audit.figures import Figures
from cases.audit.report_types import Labels
from cases.enums import OrganisationKind, Role
from cases.models import Membership, Organisation, RuleSetPublication, User
from cases.selectors.audit_setup import audit_settings, causes_for
from cases.tenancy import Actor
from rules.errors import UnknownRuleSet
from rules.loader import ruleset_by_digest, shipped_rule_set

__all__ = ["audit_labels", "filter_choices"]

Pairs = list[tuple[str, str]]
_BENCH: Final = (Role.TECHNICIAN, Role.LAB_MANAGER)
# Sets of a laboratory whose materials one may choose from; reading one costs time.
_RECENT_SETS: Final = 3


def audit_labels(*, actor: Actor, figures: Figures) -> Labels:
    """Return the names of what the figures count, by dimension and key.

    ``clinic_code`` holds the codes a filter takes. People are named only where the
    organisation compares them, and to themselves; materials as the rule sets call them.
    """
    clinics = Organisation.objects.filter(pk__in=_numbers(figures.by("clinic")))
    codes = {}
    names = {}
    for row in clinics:
        names[str(row.pk)] = row.name
        codes[str(row.pk)] = row.code
    found: dict[str, dict[str, str]] = {
        "clinic": names,
        "clinic_code": codes,
        "material": _materials(actor, wanted=figures.by("material")),
        "clinician": {},
        "technician": {},
    }
    if actor.role == Role.CLINICIAN:
        found["clinician"] = {str(actor.user_id): actor.name}
    elif audit_settings(actor=actor).compare_people:
        found["clinician"] = _people(_numbers(figures.by("clinician")))
        found["technician"] = _members(actor, _numbers(figures.by("technician")))
    return found


def filter_choices(*, actor: Actor) -> dict[str, Pairs]:
    """Return (value, name) by filter, in order of names; only filters the viewer has.

    The closed lists (kinds, classes of teeth, methods, the common causes) have their
    words in the forms; ``cause`` here holds the laboratories' own.
    """
    found: dict[str, Pairs] = {
        "material": _sorted(_materials(actor).items()),
        "cause": _sorted(causes_for(actor=actor).items()),
    }
    laboratory = actor.side == OrganisationKind.LABORATORY
    if laboratory:
        known = Organisation.objects.filter(pk__in=_seen(actor, "clinic_id"))
        found["clinic"] = _sorted(known.values_list("code", "name"))
    if actor.role == Role.CLINICIAN or not audit_settings(actor=actor).compare_people:
        return found
    if laboratory:
        people = _people(_seen(actor, "prescriber_id"))
        members = Membership.objects.filter(
            organisation_id=actor.organisation_id, role__in=_BENCH
        )
        found["technician"] = _sorted(
            (str(pk), name) for pk, name in members.values_list("pk", "user__name")
        )
    else:
        people = _people(
            Membership.objects.filter(
                organisation_id=actor.organisation_id, role=Role.CLINICIAN
            ).values_list("user_id", flat=True)
        )
    found["clinician"] = _sorted(people.items())
    return found


def _sorted(pairs: Iterable[tuple[str, str]]) -> Pairs:
    return sorted(pairs, key=lambda pair: (pair[1].casefold(), pair[0]))


def _numbers(keys: Iterable[str]) -> list[int]:
    return [int(key) for key in keys if key.isdigit()]


def _people(numbers: Iterable[int]) -> dict[str, str]:
    rows = User.objects.filter(pk__in=list(numbers)).values_list("pk", "name")
    return {str(pk): name for pk, name in rows}


def _members(actor: Actor, numbers: list[int]) -> dict[str, str]:
    if not numbers:
        return {}
    rows = Membership.objects.filter(
        organisation_id=actor.organisation_id, pk__in=numbers
    ).values_list("pk", "user__name")
    return {str(pk): name for pk, name in rows}


# From one value to the next in the index: as many steps as there are values, however
# many facts each has.
_STEPS: Final = {
    column: f"""
WITH RECURSIVE k AS (
  (SELECT {column} AS one FROM cases_auditfact WHERE laboratory_id = %(organisation)s
    ORDER BY {column} LIMIT 1)
  UNION ALL
  SELECT (SELECT f.{column} FROM cases_auditfact f
    WHERE f.laboratory_id = %(organisation)s AND f.{column} > k.one
    ORDER BY f.{column} LIMIT 1) FROM k WHERE k.one IS NOT NULL)
SELECT one FROM k WHERE one IS NOT NULL
"""  # noqa: S608 -- the two columns are ours
    for column in ("clinic_id", "prescriber_id")
}


def _seen(actor: Actor, column: str) -> list[int]:
    """Return the clinics or prescribers a laboratory has facts of."""
    with connection.cursor() as cursor:
        cursor.execute(_STEPS[column], {"organisation": actor.organisation_id})
        return [number for (number,) in cursor.fetchall()]


def _materials(actor: Actor, wanted: Iterable[str] | None = None) -> dict[str, str]:
    """Return names of materials by key, as a laboratory's latest sets call them.

    ``wanted``: these keys alone, looked for in older sets too until all are found.
    """
    laboratories = Organisation.objects.filter(kind=OrganisationKind.LABORATORY)
    if actor.side == OrganisationKind.LABORATORY:
        laboratories = laboratories.filter(pk=actor.organisation_id)
    rows = list(laboratories.order_by("pk"))
    published: dict[int, list[str]] = {row.pk: [] for row in rows}
    for laboratory_id, digest in (
        RuleSetPublication.objects.filter(laboratory__in=rows)
        .order_by("-effective_from", "-id")
        .values_list("laboratory_id", "digest")
    ):
        published[laboratory_id].append(digest)
    began = [row.rule_set_digest for row in rows]
    if wanted is None:
        recent = [one for sets in published.values() for one in sets[:_RECENT_SETS]]
        return _named([*recent, *began, ""], keys=None)
    every = [one for sets in published.values() for one in sets]
    return _named([*every, *began, ""], keys=set(wanted))


def _named(digests: Iterable[str], *, keys: set[str] | None) -> dict[str, str]:
    """Return names by key, the first set that has one deciding; "" is the shipped."""
    found: dict[str, str] = {}
    for digest in dict.fromkeys(digests):
        if keys is not None and keys <= found.keys():
            break
        try:
            rule_set = ruleset_by_digest(digest) if digest else shipped_rule_set()
        except UnknownRuleSet:
            continue
        for material in rule_set.materials:
            if keys is None or material.key in keys:
                found.setdefault(material.key, material.label)
    return found
