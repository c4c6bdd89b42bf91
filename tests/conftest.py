"""Fixtures of the whole suite."""

from tests.database import django_db_setup

__all__ = ["django_db_setup"]
