"""The audit of remakes, pure: figures of months, statistics, tables, findings."""
