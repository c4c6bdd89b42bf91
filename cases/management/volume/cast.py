"""The invented organisations and people of a volume, and their rows."""

from datetime import datetime

import psycopg
from django.contrib.auth.hashers import make_password
from numpy.random import default_rng
from psycopg import sql

from cases.enums import OrganisationKind, Role
from cases.management.volume.houses import Clinic, Laboratory, Person

__all__ = ["MARK", "make_houses"]

# Stands in the address of every organisation made here, and of no other.
MARK = "An invented place of a loaded volume. Nothing here is real."
_CLINICIANS, _TECHNICIANS = 3, 3
_ZONES = ("UTC", "Europe/Vienna", "America/Chicago", "Asia/Tokyo")
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"


class _Maker:
    """Writes organisations and people; their codes come from the seed."""

    def __init__(self, connection: psycopg.Connection, seed: int, at: datetime) -> None:
        self._connection = connection
        self._dice = default_rng([seed, 1])
        self._at = at
        self._people = 0

    def _row(self, table: str, **values: object) -> int:
        row = self._connection.execute(
            sql.SQL("INSERT INTO {} ({}) VALUES ({}) RETURNING id").format(
                sql.Identifier(table),
                sql.SQL(", ").join(map(sql.Identifier, values)),
                sql.SQL(", ").join(sql.Placeholder() * len(values)),
            ),
            list(values.values()),
        ).fetchone()
        assert row is not None  # noqa: S101 -- RETURNING gives the row
        return int(row[0])

    def code(self) -> str:
        return "".join(_ALPHABET[i] for i in self._dice.integers(0, 32, size=10))

    def organisation(self, kind: str, name: str, zone: str) -> tuple[int, str]:
        code = self.code()
        pk = self._row(
            "cases_organisation",
            code=code,
            kind=kind,
            name=name,
            address=MARK,
            time_zone=zone,
            country="",
            region="",
            language="en",
            tooth_system="iso3950",
            rule_set_digest="",
            created_at=self._at,
        )
        return pk, code

    def person(
        self, organisation: int, role: Role, *, responsible: bool = False
    ) -> Person:
        """Make a person who cannot sign in: no password fits."""
        self._people += 1
        name = f"Invented {role.label.lower()} {self._people}"
        licence = f"INVENTED-{self._people}" if role is Role.CLINICIAN else ""
        user = self._row(
            "cases_user",
            email=f"person-{self._people}@volume.example",
            password=make_password(None),
            name=name,
            licence_number=licence,
            is_active=True,
            is_operator=False,
            created_at=self._at,
        )
        membership = self._row(
            "cases_membership",
            organisation_id=organisation,
            user_id=user,
            role=role.value,
            responsible_technician=responsible,
            created_at=self._at,
        )
        return Person(membership, user, name, role.value, licence)

    def clinic(self, number: int, zone: str, share: float, *, twice: bool) -> Clinic:
        name = f"Volume clinic {number} (invented)"
        pk, code = self.organisation(OrganisationKind.CLINIC, name, zone)
        clinicians = tuple(self.person(pk, Role.CLINICIAN) for _ in range(_CLINICIANS))
        self.person(pk, Role.CLINIC_MANAGER)
        assistant = self.person(pk, Role.ASSISTANT)
        return Clinic(
            *(pk, code, name, MARK, zone, "iso3950", clinicians, assistant, share),
            twice=twice,
        )

    def laboratory(self, number: int, clinics: list[Clinic], zone: str) -> Laboratory:
        name = f"Volume laboratory {number} (invented)"
        pk, code = self.organisation(OrganisationKind.LABORATORY, name, zone)
        people = tuple(self.person(pk, Role.TECHNICIAN) for _ in range(_TECHNICIANS))
        responsible = self.person(pk, Role.TECHNICIAN, responsible=True)
        self.person(pk, Role.LAB_MANAGER)
        for clinic in clinics:
            self._partners(pk, clinic.pk)
        return Laboratory(
            pk, code, name, MARK, zone, people, responsible, tuple(clinics)
        )

    def _partners(self, laboratory: int, clinic: int) -> None:
        """The laboratory asks, the clinic accepts: the database wants both."""
        self._act(laboratory)
        pk = self._row(
            "cases_partnership",
            clinic_id=clinic,
            laboratory_id=laboratory,
            asked_by_id=laboratory,
            asked_at=self._at,
        )
        self._act(clinic)
        self._connection.execute(
            "UPDATE cases_partnership SET accepted_at = %s WHERE id = %s",
            [self._at, pk],
        )
        self._act(None)

    def _act(self, organisation: int | None) -> None:
        self._connection.execute(
            "SELECT set_config('app.org', %s, true)", [str(organisation or "")]
        )

    def shares(self, count: int) -> list[float]:
        return [float(s) for s in self._dice.uniform(0.6, 1.4, size=count)]


def make_houses(
    connection: psycopg.Connection,
    *,
    laboratories: int,
    clinics: int,
    seed: int,
    at: datetime,
) -> list[Laboratory]:
    """Store the organisations of a volume; clinics go round the laboratories.

    The first clinic of each laboratory is the one that may be planted as having twice
    the remakes; it sends as much as the average one.
    """
    maker = _Maker(connection, seed, at)
    shares = maker.shares(clinics)
    found = []
    for number in range(laboratories):
        zone = _ZONES[number % len(_ZONES)]
        own = [
            maker.clinic(
                i + 1, zone, 1.0 if i == number else shares[i], twice=i == number
            )
            for i in range(number, clinics, laboratories)
        ]
        found.append(maker.laboratory(number + 1, own, zone))
    return found
