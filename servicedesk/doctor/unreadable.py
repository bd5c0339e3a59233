"""Settings that cannot be read at all, and which one it is: asked before Django itself wants them."""

import importlib
import linecache
import re
import traceback
import warnings

from django.core.exceptions import ImproperlyConfigured

from servicedesk.doctor.findings import Finding, wrong

_SETTINGS = "servicedesk.settings"
_NAMED = re.compile(r"""env(?:\.\w+)?\("([A-Z_]+)\"""")


def unreadable() -> Finding | None:
    """What is wrong with them, without what stands in them; None where they can be read."""
    try:
        # What is warned of shows what it could not read, passwords too.
        with warnings.catch_warnings(action="ignore"):
            importlib.import_module(_SETTINGS)
    except ImproperlyConfigured as error:
        return wrong("Settings", f"{error}")
    except OSError as error:
        return wrong("Settings", f"VAR_DIR cannot be used: {error.strerror}.")
    except Exception as error:
        name = _asked_for(error)
        return wrong("Settings", f"{name or 'One of them'} cannot be read ({type(error).__name__}).")
    return None


def _asked_for(error: Exception) -> str:
    """The variable in the line of the settings at which it went wrong."""
    for frame in reversed(traceback.extract_tb(error.__traceback__)):
        if frame.filename.endswith("servicedesk/settings.py") and frame.lineno:
            found = _NAMED.search(linecache.getline(frame.filename, frame.lineno))
            return found[1] if found else ""
    return ""
