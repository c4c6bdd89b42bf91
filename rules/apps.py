"""Django's entry for the stored rule sets; the core itself needs no Django."""

from django.apps import AppConfig

__all__ = ["RulesConfig"]


class RulesConfig(AppConfig):
    """Holds published rule sets; the shipped one lives in ``rules/data``."""

    name = "rules"
    default_auto_field = "django.db.models.BigAutoField"
