"""Fixtures of the whole suite."""

from tests.database import django_db_setup
from tests.personas import personas

__all__ = ["django_db_setup", "personas"]
