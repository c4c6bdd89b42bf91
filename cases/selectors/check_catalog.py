"""Which rule set a check is asked under: a laboratory's, one by digest, the shipped."""

from django.db.models import Q

from cases.enums import OrganisationKind
from cases.errors import Invalid
from cases.models import Organisation, Partnership
from cases.tenancy import Actor
from rules.errors import UnknownRuleSet
from rules.loader import ruleset_by_digest, shipped_rule_set
from rules.requirements import RuleSet

__all__ = ["own_rule_set", "rule_set_at"]


def _by_digest(digest: str) -> RuleSet:
    return ruleset_by_digest(digest) if digest else shipped_rule_set()


def own_rule_set(*, actor: Actor) -> RuleSet:
    """Return the actor's laboratory's rule set in force; a clinic's: the shipped."""
    row = Organisation.objects.get(pk=actor.organisation_id)
    return _by_digest(row.rule_set_digest)


def rule_set_at(*, actor: Actor, laboratory: str = "", digest: str = "") -> RuleSet:
    """Return a laboratory's rule set (by its code) or the one with a digest.

    Neither: the shipped set. A laboratory counts when it is the actor's own or a
    partner in force; any other answers like one that does not exist.

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
        return _by_digest(row.rule_set_digest)
    try:
        return _by_digest(digest)
    except UnknownRuleSet as error:
        raise Invalid.one(
            "/rule_set", "No rule set with this digest was published here."
        ) from error
