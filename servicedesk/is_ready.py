"""Whether the pages on this machine are ready: ``python -m servicedesk.is_ready`` ends with 0 or 1.

For the health check of a container, whose command passes through shells: it has no word that needs quoting.
"""

import os
import sys
import urllib.error
import urllib.request

_PATIENCE_S = 5.0


def answer(port: str, patience_s: float = _PATIENCE_S) -> tuple[bool, str]:
    """Whether ``/ready/`` answers with 200 at ``port`` of this machine, and what was said or is wrong."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/ready/", timeout=patience_s) as page:
            return True, page.read(1000).decode()
    except urllib.error.HTTPError as refusal:
        return False, refusal.read(1000).decode()
    except OSError as fault:
        return False, f"Nothing answers at port {port}: {fault}."


def main() -> int:
    ready, said = answer(os.environ.get("PORT") or "8000")
    sys.stdout.write(said.strip() + "\n")
    return 0 if ready else 1


if __name__ == "__main__":
    sys.exit(main())
