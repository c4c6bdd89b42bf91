"""The rule core: what a preparation must leave room for, and whether it does."""
