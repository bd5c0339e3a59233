"""Signs letters by DKIM (RFC 6376) where the desk has a key."""

from pathlib import Path

import dkim
from django.conf import settings

# RFC 8058, section 4, wants both headers of one-click unsubscription under the signature.
_SIGNED = [
    b"from", b"to", b"subject", b"date", b"message-id", b"mime-version", b"content-type", b"reply-to",
    b"list-unsubscribe", b"list-unsubscribe-post", b"auto-submitted",
]  # fmt: skip


def signed(message: bytes) -> bytes:
    """The message with its signature in front; as it is where DKIM_KEY_FILE is not set. CRLF line ends.

    Raises OSError where the key cannot be read, and dkim.DKIMException where it is none.
    """
    if not settings.DKIM_KEY_FILE:
        return message
    signature: bytes = dkim.sign(
        message,
        settings.DKIM_SELECTOR.encode(),
        settings.DKIM_DOMAIN.encode(),
        Path(settings.DKIM_KEY_FILE).read_bytes(),
        canonicalize=(b"relaxed", b"relaxed"),
        include_headers=_SIGNED,
    )
    return signature + message
