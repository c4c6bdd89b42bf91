"""Invented cases by the million: for measuring, for tests of the audit, for the demo."""
