"""What can be refused, as values the edges translate (HTML page or problem).

The status of each: not yours or absent 404, role 403, state 409, stale 412,
bad value 422. Services raise these; nothing here knows HTTP or Django.
"""

from dataclasses import dataclass

__all__ = [
    "Conflict",
    "DocumentError",
    "DomainError",
    "IllegalTransition",
    "Invalid",
    "InvalidField",
    "KeyReused",
    "NotAllowed",
    "NotFound",
    "ReauthenticationRequired",
    "StaleVersion",
    "StorageUnavailable",
    "TooMany",
]


@dataclass(frozen=True, slots=True)
class InvalidField:
    """One fault: JSON pointer of the field, message and its parameters."""

    pointer: str
    message: str
    params: tuple[tuple[str, str], ...] = ()

    def text(self) -> str:
        """Return the message in English with its parameters filled in."""
        return self.message.format(**dict(self.params))


class DomainError(Exception):
    """Base of every expected refusal; ``code`` is the problem type's name."""

    code = "refused"
    status = 400

    def __init__(self, message: str = "", **params: str) -> None:
        super().__init__(message)
        self.message = message
        self.params = params

    def text(self) -> str:
        """Return the message in English with its parameters filled in."""
        return self.message.format(**self.params)


class NotFound(DomainError):
    """Absent, or another organisation's: the two look the same."""

    code = "not-found"
    status = 404

    def __init__(self, message: str = "There is no such thing here.") -> None:
        super().__init__(message)


class NotAllowed(DomainError):
    """Yours to see, but not for your role."""

    code = "role-not-allowed"
    status = 403


class ReauthenticationRequired(DomainError):
    """Signing needs the password or second factor again."""

    code = "reauthentication-required"
    status = 403


class Conflict(DomainError):
    """The case moved on, or the gate is shut; nothing was written."""

    code = "conflict"
    status = 409

    def __init__(
        self, message: str, *, reasons: tuple[str, ...] = (), **params: str
    ) -> None:
        super().__init__(message, **params)
        self.reasons = reasons


class ContentChanged(Conflict):
    """What would be signed now is not what the person was shown."""

    code = "content-changed"

    def __init__(self, *, content_sha256: str) -> None:
        super().__init__(
            "What would be signed now is not what was shown. Look at it again, then "
            "sign."
        )
        self.content_sha256 = content_sha256


class IllegalTransition(Conflict):
    """The command does not stand in the lifecycle table for this state."""

    code = "illegal-transition"


class StaleVersion(DomainError):
    """Somebody else changed the case (or what the message names) after it was read."""

    code = "stale-version"
    status = 412

    def __init__(
        self,
        message: str = "This case changed while you were working on it. Look at what "
        "changed, then send again; what you typed is kept.",
        *,
        current: int,
    ) -> None:
        super().__init__(message)
        self.current = current


class TooMany(DomainError):
    """A limit on tries was reached."""

    code = "too-many-requests"
    status = 429


class KeyReused(DomainError):
    """An idempotency key came back with another request behind it."""

    code = "idempotency-key-reused"
    status = 422

    def __init__(self) -> None:
        super().__init__(
            "This Idempotency-Key was already used with another body. Use a new key "
            "for a new request."
        )


class StorageUnavailable(DomainError):
    """A file could not be written to or read from the storage."""

    code = "storage-unavailable"
    status = 503

    def __init__(
        self,
        message: str = "The file store does not answer. Nothing was changed; try "
        "again in a few minutes.",
    ) -> None:
        super().__init__(message)


class DocumentError(DomainError):
    """A document could not be made; the message says what is missing."""

    code = "document-unavailable"
    status = 503


class Invalid(DomainError):
    """One or more fields hold a value that cannot be used."""

    code = "invalid"
    status = 422

    def __init__(self, *fields: InvalidField) -> None:
        super().__init__("Some values cannot be used.")
        self.fields = fields

    @classmethod
    def one(cls, pointer: str, message: str, **params: str) -> "Invalid":
        """Build the error for a single field."""
        return cls(InvalidField(pointer, message, tuple(sorted(params.items()))))

    def __str__(self) -> str:
        return "; ".join(f"{f.pointer}: {f.text()}" for f in self.fields)

    def text(self) -> str:
        """Return all messages in one line."""
        return " ".join(field.text() for field in self.fields) or self.message
