"""Which rule set a check is asked under: a laboratory's, one by digest, the shipped."""

import re
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Q

from cases.enums import OrganisationKind
from cases.errors import Invalid
from cases.models import Organisation, Partnership, RuleSetPublication
from cases.tenancy import Actor
from rules.errors import UnknownRuleSet
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.requirements import RuleSet

__all__ = ["digest_now", "digests_begun", "digests_now", "own_rule_set", "rule_set_at"]

_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)
_UNKNOWN = "No rule set with this digest was published here."


def _by_digest(digest: str) -> RuleSet:
    return ruleset_by_digest(digest) if digest else shipped_rule_set()


def digest_now(laboratory: Organisation, *, at: datetime) -> str:
    """Return the digest of the set the laboratory works by; empty: the shipped one.

    Its day begins at midnight of the laboratory.
    """
    return digests_now([laboratory], at=at)[laboratory.pk]


def digests_now(
    laboratories: Sequence[Organisation], *, at: datetime
) -> dict[int, str]:
    """Return ``digest_now`` of several laboratories, by their ids, in one query."""
    found = {row.pk: row.rule_set_digest for row in laboratories}
    today = {
        row.pk: at.astimezone(ZoneInfo(row.time_zone)).date() for row in laboratories
    }
    published = RuleSetPublication.objects.filter(laboratory__in=found)
    for laboratory_id, begins, digest in published.order_by(
        "effective_from"
    ).values_list("laboratory_id", "effective_from", "digest"):
        if begins <= today[laboratory_id]:
            found[laboratory_id] = digest
    return found


def digests_begun(laboratory: Organisation, *, at: datetime) -> frozenset[str]:
    """Return every set the laboratory has worked by up to now; empty: the shipped."""
    today = at.astimezone(ZoneInfo(laboratory.time_zone)).date()
    published = RuleSetPublication.objects.filter(
        laboratory=laboratory, effective_from__lte=today
    ).values_list("digest", flat=True)
    return frozenset({laboratory.rule_set_digest, *published})


def own_rule_set(*, actor: Actor, at: datetime) -> RuleSet:
    """Return the actor's laboratory's rule set in force; a clinic's: the shipped."""
    row = Organisation.objects.get(pk=actor.organisation_id)
    return _by_digest(digest_now(row, at=at))


def rule_set_at(
    *, actor: Actor, at: datetime, laboratory: str = "", digest: str = ""
) -> RuleSet:
    """Return a laboratory's rule set (by its code) or the one with a digest.

    Neither: the shipped set. A laboratory counts when it is the actor's own or a
    partner in force; any other answers like one that does not exist, and so does the
    digest of a set that neither it nor a laboratory it worked with has published.

    Raises:
        Invalid: no such laboratory or rule set, with its pointer.
    """
    if laboratory:
        partners = Partnership.objects.filter(
            clinic_id=actor.organisation_id,
            accepted_at__isnull=False,
            ended_at__isnull=True,
        ).values("laboratory_id")
        row = Organisation.objects.filter(
            Q(pk=actor.organisation_id) | Q(pk__in=partners),
            kind=OrganisationKind.LABORATORY,
            code=laboratory,
        ).first()
        if row is None:
            raise Invalid.one(
                "/laboratory", "Choose your own laboratory or one you work with."
            )
        return _by_digest(digest_now(row, at=at))
    if digest and not _known_here(digest):
        raise Invalid.one("/rule_set", _UNKNOWN)
    try:
        return _by_digest(digest)
    except UnknownRuleSet as error:
        raise Invalid.one("/rule_set", _UNKNOWN) from error


def _known_here(digest: str) -> bool:
    """Tell whether a set is the shipped one, or one the actor's side works by.

    A set holds what a laboratory asks for its work: to a stranger who learned its
    digest from a work order it is a set that nobody published.
    """
    if digest == shipped_rule_set().digest:
        return True
    # Anything else (a NUL, for one) is not worth a question to the database.
    if _DIGEST.fullmatch(digest) is None:
        return False
    return (
        RuleSetPublication.objects.filter(digest=digest).exists()
        or Organisation.objects.filter(rule_set_digest=digest).exists()
    )
