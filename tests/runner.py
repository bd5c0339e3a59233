"""What ./test runs: servers up, pytest on PostgreSQL, then on SQLite, servers down; and its pytest plugin."""

import contextlib
import gc
import os
import secrets
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from tests import servers

LEFT_OUT = "TEST_LEFT_OUT"  # markers whose tests are not run, separated by commas
WHY_LEFT_OUT = "TEST_WHY_LEFT_OUT"
DATABASE_ONLY = "TEST_DATABASE_ONLY"
EARLIER = "TEST_EARLIER_RUN"
# Where every table is made already: a file of SQLite, and the name of a database of PostgreSQL.
MIGRATED_FILE = "TEST_MIGRATED_FILE"
MIGRATED_DATABASE = "TEST_MIGRATED_DATABASE"
ROOT = Path(__file__).resolve().parent.parent
DATABASE_FIXTURES = {"db", "transactional_db", "django_db_reset_sequences", "django_db_serialized_rollback"}
NOTHING_RAN = 5
SOME_OBJECTS = 20_000
# Browsers, workers and mail servers let the tests on SQLite wait: a third test uses that time.
WAITING = ["-n", "3"]
# Settings of the desk that the person at the keyboard may have set and the tests must not see;
# and what would have every process of the tests compile everything anew.
NOT_HANDED_ON = {
    "ALLOWED_HOSTS", "DATABASE_URL", "DEBUG", "EMAIL_URL", "EMBEDDED_NIGHT", "EMBEDDED_WORKER",
    "HOST", "LOG_FORMAT",
    "MIGRATE_AT_START", "PORT", "PRODUCTION",
    "PYTHONDONTWRITEBYTECODE", "REDIS_URL", "SECRET_KEY", "SITE_URL",
}  # fmt: skip

Opener = Callable[[], contextlib.AbstractContextManager[str]]
SERVERS: dict[str, tuple[str, Opener]] = {
    "postgres": ("TEST_POSTGRES_URL", servers.postgres),
    "redis": ("TEST_REDIS_URL", servers.redis),
    "browser": ("TEST_CHROMIUM", lambda: contextlib.nullcontext(servers.chromium())),
    "node": ("TEST_NODE_MODULES", lambda: contextlib.nullcontext(servers.node_modules())),
}


def marks_left_out() -> list[str]:
    return [mark for mark in os.environ.get(LEFT_OUT, "").split(",") if mark]


def uses_database(item: pytest.Item) -> bool:
    return bool(
        item.get_closest_marker("django_db") or DATABASE_FIXTURES & set(getattr(item, "fixturenames", ()))
    )


def is_wanted(item: pytest.Item) -> bool:
    if any(item.get_closest_marker(mark) for mark in marks_left_out()):
        return False
    return uses_database(item) or not os.environ.get(DATABASE_ONLY)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    kept = [item for item in items if is_wanted(item)]
    config.hook.pytest_deselected(items=[item for item in items if not is_wanted(item)])
    items[:] = kept


def pytest_collection_finish() -> None:
    """What is there now stays to the end: there are no dead rings to look for in it."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(SOME_OBJECTS)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for line in os.environ.get(WHY_LEFT_OUT, "").splitlines():
        terminalreporter.write_line(line, yellow=True, bold=True)
    if earlier := os.environ.get(EARLIER):
        terminalreporter.write_line(earlier, bold=True)


@contextlib.contextmanager
def opened() -> Iterator[tuple[dict[str, str], dict[str, str]]]:
    """The environment that leads to the servers, and the missing ones with the reason."""
    env: dict[str, str] = {}
    missing: dict[str, str] = {}
    with contextlib.ExitStack() as stack:
        for mark, (variable, opener) in SERVERS.items():
            try:
                env[variable] = os.environ.get(variable) or stack.enter_context(opener())
            except servers.Missing as reason:
                missing[mark] = str(reason)
        yield env, missing


@contextlib.contextmanager
def migrated(env: dict[str, str]) -> Iterator[dict[str, str]]:
    """What leads to the tables, made once for all processes of the tests, on both databases side by side.

    Where that fails each process makes its own, and the tests say what is wrong.
    """
    file, name = str(Path(env["VAR_DIR"]) / "migrated.sqlite3"), f"migrated_{secrets.token_hex(4)}"
    addresses = {(MIGRATED_FILE, file): f"sqlite:///{file}"}
    with contextlib.ExitStack() as stack:
        if url := env.get("TEST_POSTGRES_URL"):
            link = stack.enter_context(psycopg.connect(url, autocommit=True))
            link.execute(f"CREATE DATABASE {name}")
            stack.callback(link.execute, f"DROP DATABASE {name}")
            addresses[MIGRATED_DATABASE, name] = f"{url.rpartition('/')[0]}/{name}"
        command = [sys.executable, "-P", str(ROOT / "manage.py"), "migrate", "-v", "0"]
        making = {
            made: subprocess.Popen(command, env=env | {"DATABASE_URL": address}, stderr=subprocess.DEVNULL)
            for made, address in addresses.items()
        }
        yield dict([made for made, process in making.items() if process.wait() == 0])


def run_tests(arguments: list[str], env: dict[str, str]) -> int:
    """Pytest's exit status; Ctrl-C reaches pytest by itself, and a request to end is handed on."""
    command = [sys.executable, "-P", "-m", "pytest", "-p", "tests.runner", "-n", "2", "--dist", "worksteal"]
    process = subprocess.Popen([*command, *arguments], env=env)
    handlers = {
        signal.SIGINT: lambda *_: None,
        signal.SIGTERM: lambda *_: process.terminate(),
        signal.SIGHUP: lambda *_: process.terminate(),
    }
    earlier = {number: signal.signal(number, handler) for number, handler in handlers.items()}
    try:
        status = process.wait()
    finally:
        for number, handler in earlier.items():
            signal.signal(number, handler)
    return status if status >= 0 else 128 - status


def is_over(status: int) -> bool:
    """Whether the user or a fault of usage ended the run, so that another one makes no sense."""
    return status not in (0, 1, NOTHING_RAN)


def both_runs(arguments: list[str], env: dict[str, str], left_out: list[str]) -> int:
    """PostgreSQL first, so that the last lines are those of the run that holds nearly everything."""
    first = NOTHING_RAN
    if url := env.get("TEST_POSTGRES_URL"):
        print("--- the tests that use the database, on PostgreSQL ---", flush=True)
        once = ["once"] if "long" in left_out else []
        skipped = ",".join([*left_out, *once, "browser", "benchmark"])
        first = run_tests(arguments, env | {"DATABASE_URL": url, DATABASE_ONLY: "1", LEFT_OUT: skipped})
        if is_over(first):
            return first
        words = {0: "passed", 1: "FAILED, see above", NOTHING_RAN: "none of the tests asked for"}
        env = env | {EARLIER: f"The run on PostgreSQL before this one: {words[first]}"}
    print("\n--- all tests but those of PostgreSQL, on SQLite ---", flush=True)
    served = ["served"] if "long" in left_out and first != NOTHING_RAN else []
    second = run_tests([*WAITING, *arguments], env | {LEFT_OUT: ",".join([*left_out, *served, "postgres"])})
    return min(first, second) if NOTHING_RAN in (first, second) else max(first, second)


def main(arguments: list[str]) -> int:
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: sys.exit(143))
    left_out = [] if "--long" in arguments else ["long"]
    arguments = [argument for argument in arguments if argument != "--long"]
    with opened() as (found, missing), tempfile.TemporaryDirectory(prefix="desk-var-") as var:
        reasons = "\n".join(f"LEFT OUT, tests marked {mark}: {why}" for mark, why in missing.items())
        if missing:
            print(reasons, file=sys.stderr, flush=True)
        if missing and os.environ.get("CI"):
            print("In CI nothing may be left out.", file=sys.stderr)
            return 1
        own = {name: value for name, value in os.environ.items() if name not in NOT_HANDED_ON}
        env = own | found | {"VAR_DIR": var, WHY_LEFT_OUT: reasons}
        with migrated(env) as tables:
            return both_runs(arguments, env | tables, [*left_out, *missing])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
