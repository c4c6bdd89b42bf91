"""Store the shipped rule set as a row, so that checks made under it stay readable."""

import json
from datetime import UTC, datetime
from typing import Any

from django.core.management.base import BaseCommand

from rules.loader import shipped_rule_set
from rules.models import RuleSetVersion

__all__ = ["Command"]


class Command(BaseCommand):
    """Store the shipped rule set; running it again changes nothing."""

    help = "Store the shipped rule set; running it again changes nothing."

    def handle(self, *args: Any, **options: Any) -> None:
        """Insert the shipped rule set unless its digest is already stored."""
        shipped = shipped_rule_set()
        _row, created = RuleSetVersion.objects.get_or_create(
            digest=shipped.digest,
            defaults={
                "name": shipped.name,
                "version": shipped.version,
                "payload": json.loads(shipped.canonical),
                "published_at": datetime.now(UTC),
            },
        )
        what = "stored" if created else "already stored"
        self.stdout.write(f"{shipped.name} {shipped.version}: {what}")
