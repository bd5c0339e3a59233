"""The scripts at the door: ./run, ./test, and the environment they make."""

import contextlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import threading
import time
from pathlib import Path
from types import ModuleType

import pytest

from tests import runner, servers

ROOT = Path(__file__).resolve().parents[1]
REQUIREMENTS = ROOT / "requirements"
LOCKS = ("bootstrap", "base", "test", "dev")


def called(*command: str | Path, cwd: Path, **env: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(command, cwd=cwd, env=os.environ | env, capture_output=True, text=True, timeout=120)


def pins(lock: str) -> set[str]:
    return set(re.findall(r"^[a-z0-9].*?(?= \\$)", (REQUIREMENTS / f"{lock}.txt").read_text(), re.MULTILINE))


@pytest.fixture
def environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """requirements/environment.py, looking at a folder of its own."""
    spec = importlib.util.spec_from_file_location("environment", REQUIREMENTS / "environment.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name in ("base", "test", "dev"):
        (tmp_path / f"{name}.txt").write_text(f"{name}-package==1\n")
    monkeypatch.setattr(module, "HERE", tmp_path)
    monkeypatch.setattr(module, "STAMP", tmp_path / "installed.json")
    return module


def test_a_management_command_takes_relative_paths_from_the_callers_folder(tmp_path: Path) -> None:
    script = "import pathlib; pathlib.Path('out.txt').write_text('here')"
    done = called(ROOT / "run", "manage", "shell", "-v", "0", "-c", script, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out.txt").read_text() == "here"


def test_modules_in_the_callers_folder_are_not_taken_for_ours(tmp_path: Path) -> None:
    (tmp_path / "servicedesk.py").write_text("raise SystemExit('the wrong one')")
    (tmp_path / "celery.py").write_text("raise SystemExit('the wrong one')")
    done = called(ROOT / "run", "manage", "version", cwd=tmp_path)
    assert done.returncode == 0, done.stderr


def test_an_unknown_word_is_answered_with_the_usage(tmp_path: Path) -> None:
    done = called(ROOT / "run", "dance", cwd=tmp_path)
    assert done.returncode == 2
    assert "./run manage" in done.stderr


def test_a_further_worker_without_a_broker_is_refused_with_the_reason(tmp_path: Path) -> None:
    done = called(ROOT / "run", "worker", cwd=tmp_path, REDIS_URL="")
    assert done.returncode == 1
    assert "REDIS_URL" in done.stderr


def without_pythons(folder: Path, **scripts: str) -> Path:
    """A checkout's requirements/environment, and a PATH that holds only the scripts given and a few tools."""
    (folder / "requirements").mkdir()
    shutil.copy(REQUIREMENTS / "environment", folder / "requirements")
    (folder / "bin").mkdir()
    for tool in ("bash", "env", "dirname", "readlink"):
        (folder / "bin" / tool).symlink_to(str(shutil.which(tool)))
    for name, text in scripts.items():
        (folder / "bin" / name).write_text(text)
        (folder / "bin" / name).chmod(0o755)
    return folder / "requirements" / "environment"


def test_no_python_is_said_plainly(tmp_path: Path) -> None:
    script = without_pythons(tmp_path, python3="#!/usr/bin/env bash\nexit 1\n")
    done = called(script, "base", cwd=tmp_path, PATH=str(tmp_path / "bin"))
    assert done.returncode == 1
    assert "No Python 3.11 or newer was found" in done.stderr


def test_a_python_without_venv_names_what_to_install(tmp_path: Path) -> None:
    bare = '#!/usr/bin/env bash\ncase "$2" in *ensurepip*) exit 1 ;; *print*) echo 3.12 ;; esac\n'
    script = without_pythons(tmp_path, python3=bare)
    done = called(script, "base", cwd=tmp_path, PATH=str(tmp_path / "bin"))
    assert done.returncode == 1
    assert "python3.12-venv" in done.stderr


@pytest.mark.parametrize("lock", LOCKS)
def test_every_locked_package_has_a_hash_and_no_index_is_named(lock: str) -> None:
    text = (REQUIREMENTS / f"{lock}.txt").read_text()
    entries = re.split(r"\n(?=[a-z0-9])", text.strip())
    assert entries
    assert [entry for entry in entries if "--hash=sha256:" not in entry] == []
    assert not re.search(r"://|^-", text, re.MULTILINE)


@pytest.mark.parametrize(("narrow", "wide"), [("base", "test"), ("test", "dev")])
def test_a_wider_lock_holds_the_versions_of_the_narrower(narrow: str, wide: str) -> None:
    assert pins(narrow)
    assert pins(narrow) - pins(wide) == set()


def test_an_environment_with_a_wider_lock_serves_for_the_narrower(environment: ModuleType) -> None:
    environment.STAMP.write_text(json.dumps({"lock": "dev", "sha256": environment.checksum("dev")}))
    assert environment.is_ready("base")
    assert environment.is_ready("dev")


def test_a_changed_lock_is_installed_again_and_never_narrowed(environment: ModuleType) -> None:
    environment.STAMP.write_text(json.dumps({"lock": "test", "sha256": environment.checksum("test")}))
    (environment.HERE / "test.txt").write_text("test-package==2\n")
    assert not environment.is_ready("base")
    assert environment.wider("base", environment.installed()) == "test"


@pytest.mark.parametrize("stamp", ["", "{", "[]", '{"lock": "other"}'])
def test_a_spoilt_stamp_means_nothing_is_installed(environment: ModuleType, stamp: str) -> None:
    environment.STAMP.write_text(stamp)
    assert environment.installed() == {}
    assert not environment.is_ready("base")


def test_two_starts_at_once_install_once(environment: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    installs: list[str] = []

    def slowly(lock: str) -> None:
        installs.append(lock)
        time.sleep(0.3)

    monkeypatch.setattr(environment, "install", slowly)
    monkeypatch.setattr(environment, "ensure_venv", lambda: None)
    starts = [threading.Thread(target=environment.main, args=("base",)) for _ in range(2)]
    for start in starts:
        start.start()
    for start in starts:
        start.join()
    assert installs == ["base"]
    assert environment.is_ready("base")


def test_uv_is_told_what_pip_is_told(environment: ModuleType) -> None:
    listing = (
        "global.index-url='https://one.example/simple'\n"
        ":env:.index-url='https://two.example/simple'\n"
        "global.find-links='/a\\n/b'\n"
        "global.cert='/etc/own.pem'\n"
        "freeze.timeout='10'\n"
    )
    env = environment.uv_environment(environment.pip_settings(listing), {"SSL_CERT_FILE": "/given.pem"})
    assert env["UV_DEFAULT_INDEX"] == "https://two.example/simple"
    assert env["UV_FIND_LINKS"] == "/a,/b"
    assert env["SSL_CERT_FILE"] == "/given.pem"
    assert "UV_HTTP_TIMEOUT" not in env


THERE = {"TEST_POSTGRES_URL": "postgres://x"}


@pytest.mark.parametrize(
    ("postgres", "sqlite", "together"),
    [(0, 0, 0), (1, 0, 1), (0, 1, 1), (5, 0, 0), (0, 5, 0), (5, 5, 5), (1, 5, 1), (5, 1, 1), (2, 0, 2)],
)
def test_one_failed_run_of_the_two_fails_both(
    postgres: int, sqlite: int, together: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def run_tests(arguments: list[str], env: dict[str, str]) -> int:
        return postgres if env.get("DATABASE_URL") else sqlite

    monkeypatch.setattr(runner, "run_tests", run_tests)
    assert runner.both_runs([], THERE, []) == together


@pytest.mark.parametrize(
    ("left_out", "env", "told"),
    [
        (
            ["long"],
            {"TEST_POSTGRES_URL": "postgres://x"},
            ["long,once,browser,benchmark", "long,served,postgres"],
        ),
        ([], THERE, ["browser,benchmark", "postgres"]),
        (["long", "postgres"], {}, ["long,postgres,postgres"]),
    ],
    ids=["short", "long", "no PostgreSQL"],
)
def test_what_one_database_tells_is_not_asked_of_the_other_in_a_short_run(
    left_out: list[str], env: dict[str, str], told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def run_tests(arguments: list[str], env: dict[str, str]) -> int:
        asked.append(env[runner.LEFT_OUT])
        return 0

    monkeypatch.setattr(runner, "run_tests", run_tests)
    assert runner.both_runs([], env, left_out) == 0
    assert asked == told


@pytest.fixture
def without_redis(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """A machine that lacks one server; what the runs are told to leave out is kept."""
    told: list[list[str]] = []

    def missing() -> str:
        raise servers.Missing("there is none")

    def both_runs(arguments: list[str], env: dict[str, str], left_out: list[str]) -> int:
        told.append(left_out)
        return 0

    monkeypatch.setattr(runner, "SERVERS", {"redis": ("TEST_NO_SUCH_URL", missing)})
    monkeypatch.setattr(runner, "both_runs", both_runs)
    monkeypatch.setattr(runner, "migrated", lambda _env: contextlib.nullcontext({}))
    monkeypatch.setattr(runner.signal, "signal", lambda *_: None)
    return told


def test_a_missing_server_leaves_out_its_tests_and_says_so(
    without_redis: list[list[str]], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("CI", raising=False)
    assert runner.main([]) == 0
    assert without_redis == [["long", "redis"]]
    assert "LEFT OUT, tests marked redis: there is none" in capsys.readouterr().err


def test_a_missing_server_fails_in_ci(
    without_redis: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CI", "true")
    assert runner.main(["--long"]) == 1
    assert without_redis == []


@pytest.mark.parametrize(("ends_with", "is_told"), [(0, True), (1, False)])
def test_tables_are_told_of_only_where_they_were_made(
    ends_with: int, is_told: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "manage.py").write_text(f"raise SystemExit({ends_with})")
    monkeypatch.setattr(runner, "ROOT", tmp_path)
    file = {runner.MIGRATED_FILE: str(tmp_path / "migrated.sqlite3")}
    with runner.migrated({"VAR_DIR": str(tmp_path)}) as tables:
        assert tables == (file if is_told else {})
