"""What a log must not hold: links, keys and calendars' addresses, which open something by themselves."""

import logging

from servicedesk.address_names import name_of

# Named addresses whose path is a secret.
SECRET_PATHS = {"answer", "times", "stop-mail", "feed", "tag"}


class NoSecrets(logging.Filter):
    """Writes the name of such an address in place of its path."""

    def filter(self, record: logging.LogRecord) -> bool:
        """True: the record is written."""
        request = getattr(record, "request", None)
        if request is None or not isinstance(record.args, tuple):
            return True
        name = name_of(request)
        if name in SECRET_PATHS:
            record.args = tuple(f"/{name}/…" if arg == request.path else arg for arg in record.args)
        return True
