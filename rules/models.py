"""A published rule set, kept for ever so that any check can be made again.

Rows hold no tenant data: a rule set is needs and their sources. Which laboratory
uses which one is said elsewhere.
"""

from typing import Any, NoReturn

from django.db import models

__all__ = ["RuleSetVersion"]


class RuleSetVersion(models.Model):
    """One rule set in canonical form, addressed by its digest; never changed."""

    digest = models.CharField(max_length=64, unique=True, editable=False)
    name = models.CharField(max_length=80, editable=False)
    version = models.CharField(max_length=40, editable=False)
    payload = models.JSONField(editable=False)
    effective_from = models.DateField(null=True, editable=False)
    published_at = models.DateTimeField(editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="rules_rulesetversion_digest_is_sha256",
                condition=models.Q(digest__regex=r"^[0-9a-f]{64}$"),
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.version} ({self.digest[:12]})"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Store a new version once; a stored one cannot be changed.

        Raises:
            TypeError: the row is already stored.
        """
        if not self._state.adding:
            raise TypeError("a published rule set cannot change; publish a new one")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: checks refer to the digest for ever.

        Raises:
            TypeError: always.
        """
        raise TypeError("a published rule set cannot be deleted; checks refer to it")
