"""Real services started as child processes: PostgreSQL, Valkey, web, worker, beat.

For development, tests and the demo. Production names its own servers through
``DATABASE_URL`` and ``BROKER_URL`` and needs nothing from here except
:mod:`portal.embedded.provision`.
"""
