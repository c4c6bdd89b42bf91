"""Fields and helpers that several commands share."""

from collections.abc import Mapping
from typing import Any

from cases.api.documented import reference
from cases.api.fields import Body, Field, listing, nested, nullable, passed_on
from cases.api.scalars import text
from cases.services.signing import SignatureInput

__all__ = ["NOTE", "READINGS", "SIGNATURE", "SITES", "pairs", "signature_of", "sites"]

NOTE = text(4000)
SIGNATURE = nullable(
    nested(Body({"grant": text(200, needed=True), "meaning": text(300, needed=True)}))
)
# More than every site of every unit in every position, read three times over.
READINGS = passed_on(reference("CaseReading"), at_most=400)
_SITE = nested(Body({"tooth": text(2, needed=True), "site": text(40, needed=True)}))


def sites(*, default: Any) -> Field:
    """A list of places: tooth and site."""
    rows = listing(_SITE, at_most=400)
    return Field(rows.read, rows.schema, default)


SITES = sites(default=())


def pairs(rows: Any) -> list[tuple[str, str]]:
    """Return places as (tooth, site)."""
    return [(row["tooth"], row["site"]) for row in rows]


def signature_of(values: Mapping[str, Any]) -> SignatureInput:
    """Return the signature of a body; without one, signing asks for it (403)."""
    stated = values["signature"]
    if stated is None:
        return SignatureInput(meaning="")
    return SignatureInput(meaning=stated["meaning"], grant=stated["grant"])
