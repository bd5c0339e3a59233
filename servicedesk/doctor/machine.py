"""The machine and its settings: Python, disk, clock, keys, addresses, mail."""

import shutil
import smtplib
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from urllib.parse import urlsplit
from zipfile import BadZipFile, ZipFile
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.conf import settings
from dkim import DKIMException

from schedules.dkim_signing import signed
from servicedesk.archive.keep import archives
from servicedesk.archive.write import CONTENTS
from servicedesk.doctor.findings import Finding, goes_on, look, well, wrong

OLDEST_PYTHON = (3, 11)
LITTLE_ROOM, NO_ROOM = 5_000_000_000, 500_000_000
OLD_ARCHIVE_DAYS = 2
_PATIENCE_S = 5.0
_SHORT_KEY = 50


@goes_on
def of_machine(now: datetime) -> Iterator[Finding]:
    """All of it, a part after the other."""
    yield python()
    yield folder(settings.VAR_DIR)
    yield zones()
    yield secret_key()
    yield from production()
    yield mail()
    yield from dkim()
    yield backups(now)


def python() -> Finding:
    """The Python that runs it."""
    version = ".".join(map(str, sys.version_info[:3]))
    if sys.version_info < OLDEST_PYTHON:
        return wrong("Python", f"{version} is too old; install 3.11 or newer.")
    return well("Python", version)


def folder(path: Path) -> Finding:
    """The folder of the desk's own files, and the room left there."""
    probe = path / ".doctor"
    try:
        probe.touch()
        probe.unlink()
    except OSError as error:
        return wrong("VAR_DIR", f"nothing can be written into {path}: {error.strerror}.")
    free = shutil.disk_usage(path).free
    room = f"{free / 1e9:,.1f} GB are free in {path}"
    if free < NO_ROOM:
        return wrong("VAR_DIR", f"{room}; make room before the database stops.")
    return look("VAR_DIR", f"{room}; make room soon.") if free < LITTLE_ROOM else well("VAR_DIR", f"{room}.")


def zones() -> Finding:
    """The time zones' data."""
    try:
        ZoneInfo("America/Chicago")
    except ZoneInfoNotFoundError:
        return wrong("Time zones", "their data are missing; install the package tzdata.")
    return well("Time zones", "their data are there.")


def secret_key() -> Finding:
    """The key that signs links and sessions, by its length alone."""
    if len(settings.SECRET_KEY) < _SHORT_KEY or len(set(settings.SECRET_KEY)) < 5:
        return wrong("SECRET_KEY", f"is too short; give it {_SHORT_KEY} characters nobody can guess.")
    return well("SECRET_KEY", "is long enough; keep a copy of it with the backups.")


def production() -> Iterator[Finding]:
    """What must be so where others reach the desk."""
    if settings.DEBUG and settings.PRODUCTION:
        yield wrong("DEBUG", "shows visitors what is inside; turn it off.")
    if not settings.PRODUCTION:
        yield look("PRODUCTION", "is off: no HTTPS is asked for, which is right on one's own machine alone.")
        return
    if "*" in settings.ALLOWED_HOSTS:
        yield wrong("ALLOWED_HOSTS", "lets in whoever claims any name; name the desk's own instead of *.")
    address = urlsplit(settings.SITE_URL)
    if address.scheme != "https" or address.hostname in ("127.0.0.1", "localhost"):
        yield wrong("SITE_URL", "must be the https address by which households reach the desk.")
    elif address.hostname not in settings.ALLOWED_HOSTS and "*" not in settings.ALLOWED_HOSTS:
        yield wrong("ALLOWED_HOSTS", "does not name the host of SITE_URL; its pages answer 400.")
    elif f"https://{address.netloc}" not in settings.CSRF_TRUSTED_ORIGINS:
        yield look("CSRF_TRUSTED_ORIGINS", "does not name SITE_URL; forms may be refused behind a proxy.")
    else:
        yield well("Addresses", "SITE_URL, ALLOWED_HOSTS and CSRF_TRUSTED_ORIGINS go together.")


def mail() -> Finding:
    """The mail server, greeted and left; no letter is sent."""
    if settings.OUTGOING_MAIL_IS_KEPT:
        return look("Mail", "EMAIL_URL is empty: letters are kept on the Letters page and reach nobody.")
    if not settings.EMAIL_BACKEND.endswith("smtp.EmailBackend"):
        return look("Mail", "EMAIL_URL names no mail server: letters leave the desk otherwise, if at all.")
    kind = smtplib.SMTP_SSL if settings.EMAIL_USE_SSL else smtplib.SMTP
    try:
        with kind(settings.EMAIL_HOST, settings.EMAIL_PORT, timeout=_PATIENCE_S) as server:
            server.ehlo()
            if settings.EMAIL_USE_TLS and not server.has_extn("starttls"):
                return wrong("Mail", "the server offers no TLS, and EMAIL_URL asks for it.")
    except (OSError, smtplib.SMTPException) as error:
        return wrong("Mail", f"the server of EMAIL_URL does not answer ({type(error).__name__}).")
    return well("Mail", "the server answers.")


def dkim() -> Iterator[Finding]:
    """The key that signs letters, where one is named."""
    given = (settings.DKIM_SELECTOR, settings.DKIM_DOMAIN, settings.DKIM_KEY_FILE)
    if all(given):
        try:
            signed(b"From: desk@desk.invalid\r\n\r\nA trial.\r\n")
            for_everybody = Path(settings.DKIM_KEY_FILE).stat().st_mode & 0o004
        except OSError as error:
            yield wrong("DKIM", f"the key cannot be read: {error.strerror}.")
        except DKIMException:
            yield wrong("DKIM", "the key file holds no private key; no letter goes out.")
        else:
            if for_everybody:
                yield look("DKIM", "everybody on this machine can read the key; change that by chmod o=.")
            else:
                yield well("DKIM", "letters are signed.")
    elif any(given):
        yield wrong("DKIM", "selector, domain and key file go together; letters go out unsigned.")


def backups(now: datetime) -> Finding:
    """The newest archive."""
    if not settings.BACKUP_DIR:
        return look("Backups", "BACKUP_DIR is empty: say where keep_archives writes, and run it daily.")
    path = Path(settings.BACKUP_DIR)
    if not path.is_dir():
        return wrong("Backups", f"{path} is no folder; is its disk mounted?")
    found = archives(path)
    if not found:
        return wrong("Backups", f"no archive lies in {path}; run manage keep_archives.")
    days = (now.date() - max(found)).days
    if days > OLD_ARCHIVE_DAYS:
        return wrong("Backups", f"the newest archive is {days} days old; look at its timer.")
    if not _is_whole(found[max(found)]):
        return wrong("Backups", f"the newest archive, of {max(found)}, is damaged; run manage keep_archives.")
    return well("Backups", f"{len(found)} archives, the newest of {max(found)}.")


def _is_whole(path: Path) -> bool:
    """Whether it ends as an archive does; restore_desk alone looks at every byte."""
    try:
        with ZipFile(path) as archive:
            return CONTENTS in archive.namelist()
    except (OSError, BadZipFile):
        return False
