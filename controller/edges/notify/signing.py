"""Signing what is posted to a webhook, and the check its receiver makes.

The signature is HMAC-SHA-256 (RFC 2104, FIPS 180-4) over the time and the body, so that neither can be
changed and an old message cannot be sent again for a new one. Receivers may copy `is_genuine`.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from typing import Final

TIMESTAMP_HEADER: Final = "Duskbell-Timestamp"
SIGNATURE_HEADER: Final = "Duskbell-Signature"

SCHEME: Final = "v1="
"""Stands before the hexadecimal digits, so that a later scheme can be told apart."""

TOLERANCE_S: Final = 300
"""How far the time of a message may be from the receiver's clock. [s]"""

SECRET_BYTES_MIN: Final = 16
"""A shorter secret could be guessed; RFC 2104, section 3, asks for no less than the digest has where possible."""

_TIMESTAMP: Final = re.compile(r"[0-9]{1,12}")


def sign(secret: bytes, *, timestamp_s: int, body: bytes) -> str:
    """Sign a body at a time [s since 1970]; give the header's value."""
    signed = str(timestamp_s).encode("ascii") + b"." + body
    return SCHEME + hmac.new(secret, signed, hashlib.sha256).hexdigest()


def is_genuine(secret: bytes, *, timestamp: str, signature: str, body: bytes, now_s: float) -> bool:
    """Tell, for a receiver, whether a message comes from who has the secret, and is not an old one.

    Parameters
    ----------
    secret
        The shared secret.
    timestamp, signature
        The two headers as they came.
    body
        The body as it came, before any reading of it.
    now_s
        The receiver's clock. [s since 1970]
    """
    if _TIMESTAMP.fullmatch(timestamp) is None or not signature.isascii():
        return False
    expected = sign(secret, timestamp_s=int(timestamp), body=body)
    # Both are compared whatever the time says, and digit by digit in constant time.
    same = hmac.compare_digest(expected, signature)
    return same and timestamp == str(int(timestamp)) and abs(now_s - int(timestamp)) <= TOLERANCE_S
