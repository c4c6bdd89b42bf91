"""The OpenAPI 3.1 document, for whoever may call the API."""

from drf_spectacular.views import SpectacularAPIView

from cases.api import security
from cases.api.authentication import IsActing
from cases.api.schemas import COMPONENTS

__all__ = ["Schema"]

_DESCRIPTION = """
Settle the clearance of a tooth preparation before fabrication.

**Errors** are problem details (RFC 9457), each bad value with its JSON pointer. A row
of another organisation is answered like one that does not exist.

**Versions.** The ETag of a case is its version, a strong tag such as `"7"`. Commands
take exactly one such tag in If-Match: without it 428, another one or a weak one 412,
`*`, a list or anything else 400. Queries are settled on the version of their case.
Messages and files bring no new version and stand at their own addresses.

**Retries.** Every POST that stores takes an Idempotency-Key. For 24 hours the same
key, person, organisation and address are answered with the first answer and the header
Idempotency-Replayed; another body is 422. What failed stores nothing, so a corrected
request may use its key again. A grant is never handed out twice: its retry is 409.

**Signing.** Ask the command's `/preview` what would be signed, ask `signing-grants`
for a grant over its `content_sha256`, send the command with
`"signature": {"grant": …, "meaning": …}`. Without one: 403
`reauthentication-required`; over another digest: 409 `content-changed` with the
digest of what would be signed now.

**Lengths** are millimetres. They leave as numbers rounded to two decimals and enter
as numbers or texts with at most two (`u_mm` and `k`: four), parted by point or comma.

**Audit.** Its parameters are those of the pages; months are written 2026-05, both ends
included. Shares are fractions of 1. A count that may not be shown is null everywhere,
`hidden` says why, and its `cases` are null too. `Accept: text/csv` or `format=csv` asks
for a table; there the word `hidden` stands for what is not shown.
""".strip()


class Schema(SpectacularAPIView):
    """The OpenAPI document of this API, as YAML or JSON by Accept."""

    permission_classes = (IsActing,)
    custom_settings = {
        "DESCRIPTION": _DESCRIPTION,
        "APPEND_COMPONENTS": {"schemas": COMPONENTS},
        "POSTPROCESSING_HOOKS": ["cases.api.documented.complete"],
    }
    # Importing the module is what registers the names of the two schemes.
    security_scheme = security.ActingScheme
