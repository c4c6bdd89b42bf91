"""Facts of the audit in numbers: copies of one restoration that really left.

The application may not write facts; here they are multiplied past its policies, as many
cases would leave them.
"""

from tests.database import superuser

__all__ = ["multiplied"]

_COPY = """
INSERT INTO cases_auditfact ({columns})
SELECT {values} FROM cases_auditfact f,
  generate_series(%(first)s::int, %(last)s::int) AS number
WHERE f.id = (SELECT min(id) FROM cases_auditfact)
"""


def multiplied(
    first: int, last: int, *, remade: bool = False, cause: str = "", **fields: str
) -> None:
    """Add restorations numbered ``first`` to ``last`` like the first one there is.

    All of them are reported; ``fields`` are texts that differ from the original.
    """
    stated = {
        "part": "number::text",
        "reported": "true",
        "fitted": "true" if not remade else "false",
        "as_delivered": "true" if not remade else "false",
        "remade": "true" if remade else "false",
        "remade_at": "f.dispatched_at + interval '12 days'" if remade else "NULL",
        "remake_days": "12" if remade else "NULL",
        "remake_cause": f"'{cause}'",
        "remake_detected": "'seating'" if remade else "''",
        "attribution": "'clinic'" if remade else "''",
        **{name: f"'{value}'" for name, value in fields.items()},
    }
    with superuser() as connection:
        names = [
            name
            for (name,) in connection.execute(
                "SELECT column_name FROM information_schema.columns"
                " WHERE table_name = 'cases_auditfact' AND column_name <> 'id'"
            )
        ]
        query = _COPY.format(
            columns=", ".join(f'"{name}"' for name in names),
            values=", ".join(stated.get(name, f'f."{name}"') for name in names),
        )
        connection.execute(query, {"first": first, "last": last})
