"""The chain of entries: each carries the hash of what it recorded and of the entry before.

SHA-256 (FIPS 180-4) over canonical JSON (RFC 8259: no spaces, keys not needed as rows are lists), readings as
little-endian 64-bit pairs (instant, thousandths). Who can recompute the whole chain can forge it: keep a head
outside the database, as every backup prints it.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

GENESIS = "0" * 64


def canonical(row: Sequence[Any]) -> bytes:
    """One row as canonical JSON."""
    return json.dumps(list(row), ensure_ascii=False, separators=(",", ":")).encode()


def body_hash(tables: Mapping[str, Iterable[Sequence[Any]]], readings: Iterable[tuple[int, bytes]] = ()) -> str:
    """Hash of all rows that one entry recorded.

    ``tables`` maps a table's name to its rows in key order; tables are taken by name. ``readings`` gives, by fridge
    key, the digest of its readings.
    """
    digest = hashlib.sha256()
    for name in sorted(tables):
        for row in tables[name]:
            digest.update(name.encode() + b"\x1f" + canonical(row) + b"\x1e")
    for fridge, sealed in readings:
        digest.update(b"reading\x1f" + str(fridge).encode() + b"\x1f" + sealed + b"\x1e")
    return digest.hexdigest()


def readings_digest(packed: bytes) -> bytes:
    """Digest of the readings of one fridge: (instant, thousandths) pairs in order of time."""
    return hashlib.sha256(packed).digest()


def entry_hash(
    n: int, kind: str, at: int, recorded_at: int, by: str, site: str, what: str, body: str, before: str
) -> str:
    """Hash of one entry, which seals its body and everything before it."""
    return hashlib.sha256(canonical((n, kind, at, recorded_at, by, site, what, body, before))).hexdigest()
