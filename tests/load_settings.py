"""The desk's settings with one more page: the bare one, which the load is held against."""

from servicedesk.settings import *  # noqa: F403

ROOT_URLCONF = "tests.load_urls"
