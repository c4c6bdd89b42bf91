"""The bridge from package data and rows to rule sets; cached by digest."""

import re
from functools import lru_cache
from importlib.resources import files

from rules.errors import UnknownRuleSet
from rules.models import RuleSetVersion
from rules.parse import parse_rule_set, parse_toml
from rules.requirements import RuleSet

__all__ = ["ruleset_by_digest", "shipped_rule_set"]

# A laboratory keeps a handful of versions in use; older ones are read again.
_CACHED = 64
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)


@lru_cache(maxsize=1)
def shipped_rule_set() -> RuleSet:
    """Return the rule set that comes with the package, parsed once per process."""
    text = files("rules").joinpath("data", "general.toml").read_text(encoding="utf-8")
    return parse_toml(text)


def ruleset_by_digest(digest: str) -> RuleSet:
    """Return the rule set with a digest: the shipped one, else a published row.

    Raises:
        UnknownRuleSet: no such rule set was shipped or published here.
    """
    shipped = shipped_rule_set()
    return shipped if digest == shipped.digest else _stored(digest)


@lru_cache(maxsize=_CACHED)
def _stored(digest: str) -> RuleSet:
    # Anything else (a NUL, for one) is not worth a question to the database.
    row = (
        _DIGEST.fullmatch(digest)
        and RuleSetVersion.objects.filter(digest=digest).first()
    )
    found = parse_rule_set(row.payload) if row else None
    # A row whose content no longer matches its digest is not the set that was asked.
    if found is None or found.digest != digest:
        raise UnknownRuleSet(digest)
    return found
