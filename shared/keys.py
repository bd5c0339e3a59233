"""Keys that programs show: made at random, shown once, kept as a print."""

import hashlib
import secrets
from base64 import urlsafe_b64encode

from django.utils.crypto import salted_hmac

_BYTES = 32
BEGINS = 6
# What an answer that shows a key sets on its request: the names of the fields that are kept nowhere.
SHOWN_ONCE = "shown_once"


def new_key() -> str:
    """256 random bits, safe in a header; never with a dash in front, which a command would take for an option
    of its own."""
    key = secrets.token_urlsafe(_BYTES)
    return new_key() if key.startswith("-") else key


def key_print(key: str) -> str:
    """What is kept of a key, 64 hexadecimal signs. A key is as long as its print, so that nothing slower than
    SHA-256 is needed; looked up whole, a print tells a guesser nothing of the key."""
    return hashlib.sha256(key.encode()).hexdigest()


def begins(key: str) -> str:
    """The signs that people tell a key by."""
    return key[:BEGINS]


def new_seed() -> str:
    """144 random bits, from which a key can be made again with the desk's own secret key."""
    return secrets.token_urlsafe(18)


def raw_key_of(purpose: str, seed: str) -> bytes:
    """The key of a seed, 256 bits: whoever has the seed alone, as in a stolen database, has no key."""
    return salted_hmac(purpose, seed, algorithm="sha256").digest()


def key_of(purpose: str, seed: str) -> str:
    """192 bits of it, safe in a URL."""
    return urlsafe_b64encode(raw_key_of(purpose, seed)[:24]).decode()


def typed_key_of(purpose: str, seed: str) -> str:
    """The same for a key that people type: never with a dash in front, which a command would take for an
    option of its own."""
    key = key_of(purpose, seed)
    return typed_key_of(purpose, f"{seed}+") if key.startswith("-") else key
