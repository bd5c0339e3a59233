#!/usr/bin/env python
"""Django's command line for this project."""

import os
import sys

from django.core.management import execute_from_command_line

from servicedesk.doctor.unreadable import unreadable

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
    if sys.argv[1:2] == ["doctor"] and (finding := unreadable()):
        print(finding)
        sys.exit(1)
    execute_from_command_line(sys.argv)
