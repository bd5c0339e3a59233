"""What a log must not hold: links, keys and calendars' addresses, which open something by themselves."""

import logging
import re
from functools import cache

from django.urls import reverse

# Named addresses whose path is a secret, whatever a mail program hangs on to it.
SECRET_PATHS = {"answer", "times", "stop-mail", "feed", "tag"}


class NoSecrets(logging.Filter):
    """Writes such an address without what follows its first part."""

    def filter(self, record: logging.LogRecord) -> bool:
        """True: the record is written."""
        if isinstance(record.args, tuple):
            record.args = tuple(_told(arg) if isinstance(arg, str) else arg for arg in record.args)
        return True


def _told(text: str) -> str:
    return _secret().sub(r"/\1/…", text)


@cache
def _secret() -> "re.Pattern[str]":
    firsts = {reverse(name, args=["x"]).split("/")[1] for name in SECRET_PATHS}
    return re.compile(rf"/({'|'.join(sorted(firsts))})/\S+")
