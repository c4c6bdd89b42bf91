"""Proofs that trust nothing the server says of itself: digests and chains."""

import hashlib
import io
from collections.abc import Iterable, Mapping
from typing import Any

import pikepdf
import rfc8785

__all__ = ["attached_digests", "chain_breaks", "content_digest"]

_START = "0" * 64


def content_digest(content: Any) -> str:
    """Return the SHA-256 of the RFC 8785 form of a JSON value."""
    return hashlib.sha256(rfc8785.dumps(content)).hexdigest()


def attached_digests(document: bytes) -> list[str]:
    """Return the SHA-256 of every file attached to a PDF.

    Raises:
        pikepdf.PdfError: this is no PDF.
    """
    with pikepdf.open(io.BytesIO(document)) as pdf:
        return [
            hashlib.sha256(spec.get_file().read_bytes()).hexdigest()
            for spec in pdf.attachments.values()
        ]


def chain_breaks(
    entries: Iterable[Mapping[str, Any]], withheld: Iterable[int] = ()
) -> list[str]:
    """Return what does not hold of a timeline's chain, recomputed from its text.

    An entry's hash is the SHA-256 of the one before it, its position and its
    canonical text, joined by line feeds; its text binds the content by the
    SHA-256 of salt, line feed and the content's RFC 8785 form. A reader who may
    not see an entry (``withheld``) cannot check the link across the gap.
    """
    hidden = set(withheld)
    broken: list[str] = []
    previous, expected = _START, 1
    for entry in entries:
        crossed = False
        while expected in hidden:
            expected, crossed = expected + 1, True
        if entry["position"] != expected:
            broken.append(f"position {entry['position']} instead of {expected}")
        if entry["prev_hash"] != previous and not crossed:
            broken.append(f"entry {expected} does not follow the one before")
        broken += _entry_breaks(entry)
        previous, expected = entry["hash"], entry["position"] + 1
    return broken


def _entry_breaks(entry: Mapping[str, Any]) -> list[str]:
    position = entry["position"]
    text = f"{entry['prev_hash']}\n{position}\n{entry['canonical']}"
    broken = []
    if hashlib.sha256(text.encode()).hexdigest() != entry["hash"]:
        broken.append(f"hash of entry {position}")
    bound = entry["salt"].encode() + b"\n" + rfc8785.dumps(entry["content"])
    digest = hashlib.sha256(bound).hexdigest()
    if digest != entry["content_commitment"] or digest not in entry["canonical"]:
        broken.append(f"content of entry {position}")
    return broken
