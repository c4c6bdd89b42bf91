"""Canonical JSON, digests, salted commitments and public codes.

Canonical form is RFC 8785 (JSON Canonicalization Scheme), so that the same
content has the same SHA-256 in every program that follows the standard.
"""

import hashlib
import secrets
from typing import Any

import rfc8785

__all__ = [
    "canonical_json",
    "commitment",
    "new_code",
    "new_salt",
    "new_secret",
    "secret_hash",
    "sha256_hex",
]

# Crockford's base32: no I, L, O, U, so that a code survives being read aloud.
_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_CODE_LENGTH = 10


def canonical_json(value: Any) -> bytes:
    """Return the RFC 8785 bytes of a JSON value (numbers as int or float)."""
    return rfc8785.dumps(value)


def sha256_hex(content: bytes) -> str:
    """Return the SHA-256 of bytes in lower-case hex (64 characters)."""
    return hashlib.sha256(content).hexdigest()


def commitment(salt: str, value: Any) -> str:
    """Return SHA-256 of salt and canonical JSON: binds content, reveals none.

    Once salt and content are erased, the digest alone tells nothing about them.
    """
    return sha256_hex(salt.encode() + b"\n" + canonical_json(value))


def new_salt() -> str:
    """Return 128 bits of salt in hex."""
    return secrets.token_hex(16)


def new_code() -> str:
    """Return a random public code: 10 Crockford base32 characters (50 bits)."""
    return "".join(secrets.choice(_ALPHABET) for _ in range(_CODE_LENGTH))


def new_secret() -> str:
    """Return a capability secret for links and tokens (256 bits)."""
    return secrets.token_urlsafe(32)


def secret_hash(secret: str) -> str:
    """Return what is stored of a capability secret.

    A plain hash is enough: the secret has 256 random bits, so there is nothing
    to guess.
    """
    return sha256_hex(secret.encode())
