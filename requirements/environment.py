"""Makes .venv hold one of the locks; standard library only, since nothing else is there yet."""

import ast
import contextlib
import fcntl
import hashlib
import json
import os
import subprocess
import sys
import venv
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE.parent / ".venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / "installed.json"
LOCKS = ("base", "test", "dev")  # each holds the one before it

# What pip is told, by file or environment, and how uv is told the same.
UV_NAMES = {
    "index-url": "UV_DEFAULT_INDEX",
    "extra-index-url": "UV_INDEX",
    "find-links": "UV_FIND_LINKS",
    "no-index": "UV_NO_INDEX",
    "trusted-host": "UV_INSECURE_HOST",
    "cert": "SSL_CERT_FILE",
    "client-cert": "SSL_CLIENT_CERT",
    "proxy": "ALL_PROXY",
    "default-timeout": "UV_HTTP_TIMEOUT",
    "timeout": "UV_HTTP_TIMEOUT",
}
SEPARATORS = {"find-links": ","}
SECTIONS = ("global", "install", ":env:")  # the later one wins, as in pip


def checksum(lock: str) -> str:
    return hashlib.sha256((HERE / f"{lock}.txt").read_bytes()).hexdigest()


def installed() -> dict[str, str]:
    """The stamp of a finished installation, or nothing."""
    try:
        stamp = json.loads(STAMP.read_text())
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) and stamp.get("lock") in LOCKS else {}


def wider(wanted: str, stamp: dict[str, str]) -> str:
    """The lock to install: never a narrower one than the environment already holds."""
    return max(wanted, stamp.get("lock", wanted), key=LOCKS.index)


def is_ready(wanted: str) -> bool:
    stamp = installed()
    lock = wider(wanted, stamp)
    return stamp.get("lock") == lock and stamp.get("sha256") == checksum(lock)


def pip_settings(listing: str) -> dict[str, str]:
    """The settings in what `pip config list` prints, one value a name."""
    found: dict[str, dict[str, str]] = {section: {} for section in SECTIONS}
    for line in listing.splitlines():
        name, _, value = line.partition("=")
        section, _, key = name.rpartition(".")
        with contextlib.suppress(ValueError, SyntaxError):
            found.get(section.removesuffix("."), {})[key] = str(ast.literal_eval(value))
    return {key: value for section in SECTIONS for key, value in found[section].items()}


def uv_environment(settings: dict[str, str], given: dict[str, str]) -> dict[str, str]:
    """The environment for uv: as given, and pip's settings wherever uv was told nothing of its own."""
    told = {
        UV_NAMES[key]: SEPARATORS.get(key, " ").join(value.split())
        for key, value in settings.items()
        if key in UV_NAMES
    }
    return {"UV_INDEX_STRATEGY": "unsafe-best-match"} | told | given


def tried(*command: str | Path, env: dict[str, str] | None = None, quiet: bool = False) -> bool:
    out = subprocess.DEVNULL if quiet else sys.stderr
    done = subprocess.run(command, env=env, stdin=subprocess.DEVNULL, stdout=out, stderr=out)  # noqa: S603
    return done.returncode == 0


def pip_listing() -> str:
    command = [PYTHON, "-m", "pip", "config", "list"]
    return subprocess.run(command, capture_output=True, text=True).stdout  # noqa: S603


def ensure_venv() -> None:
    """A .venv with a working Python 3.11 or newer and pip."""
    version = "import sys; sys.exit(sys.version_info < (3, 11))"
    if not (PYTHON.exists() and tried(PYTHON, "-c", version, quiet=True)):
        venv.create(VENV, clear=True, symlinks=True, with_pip=True)
    elif not tried(PYTHON, "-m", "pip", "--version", quiet=True) and not tried(PYTHON, "-m", "ensurepip"):
        raise SystemExit("The environment in .venv has no pip; delete the folder .venv and start this again.")


def bytecode() -> list[str]:
    """Python compiles on first use, unless told to write nothing: then every start would compile anew."""
    return ["--compile-bytecode"] if os.environ.get("PYTHONDONTWRITEBYTECODE") else []


def install(lock: str) -> None:
    """By uv, told what pip is told; where that fails, by pip itself. Both check every hash."""
    hashed = ("--require-hashes", "-r")
    if tried(PYTHON, "-m", "pip", "install", "-qq", *hashed, HERE / "bootstrap.txt"):
        env = uv_environment(pip_settings(pip_listing()), dict(os.environ))
        uv = (PYTHON, "-m", "uv", "pip", "install", "--quiet", "--python", PYTHON, *bytecode())
        if tried(*uv, *hashed, HERE / f"{lock}.txt", env=env):
            return
    print("uv could not install the packages; trying pip.", file=sys.stderr)
    if not tried(PYTHON, "-m", "pip", "install", "-qq", *hashed, HERE / f"{lock}.txt"):
        raise SystemExit("The packages could not be installed; the reason stands above.")


@contextlib.contextmanager
def one_at_a_time() -> Iterator[None]:
    with (HERE / "base.txt").open() as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        yield


def main(wanted: str) -> None:
    if is_ready(wanted):
        return
    with one_at_a_time():
        if is_ready(wanted):
            return
        lock = wider(wanted, installed())
        print(f"Installing the packages of requirements/{lock}.txt ...", file=sys.stderr, flush=True)
        ensure_venv()
        STAMP.unlink(missing_ok=True)
        install(lock)
        STAMP.write_text(json.dumps({"lock": lock, "sha256": checksum(lock)}))


if __name__ == "__main__":
    if sys.argv[1:] not in [[lock] for lock in LOCKS]:
        raise SystemExit(f"usage: environment.py {'|'.join(LOCKS)}")
    try:
        main(sys.argv[1])
    except KeyboardInterrupt:
        raise SystemExit(130) from None
