"""Map tiles of the open kind: an address with {z}, {x} and {y}, and {s} for one of several servers."""

import re
from urllib.parse import urlsplit


def tile_source(address: str) -> str:
    """Where tiles of an address come from, as a content security policy names it; empty for none.

    Raises ValueError for an address that is no http(s) one or lacks {z}, {x} or {y}.
    """
    if not address:
        return ""
    # Braces are not of an address; {s} stands at the beginning of the server's name.
    plain = re.sub(r"\{s\}", "*", address)
    parts = urlsplit(re.sub(r"\{(\w+)\}", r"\1", plain))
    if parts.scheme not in ("http", "https") or not parts.netloc:
        raise ValueError("the address of map tiles begins neither with http:// nor with https://")
    missing = [name for name in ("{z}", "{x}", "{y}") if name not in address]
    if missing:
        raise ValueError(f"the address of map tiles lacks {', '.join(missing)}")
    return f"{parts.scheme}://{parts.netloc}"
