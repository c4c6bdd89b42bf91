"""Functions and triggers that keep the facts of the audit (migration 0004)."""

SQL = ""
