"""What is written for servers (units, container, table of settings, guide) names what there is."""

import re
import shlex
import shutil
import subprocess
from collections.abc import Callable, Iterator
from configparser import RawConfigParser
from pathlib import Path

import pytest
import yaml
from django.core.management import get_commands

from servicedesk.metrics import requests, state, tasks

ROOT = Path(__file__).resolve().parents[2]
RUNNING = ROOT / "servicedesk" / "running"
UNITS = sorted(RUNNING.glob("*.service")) + sorted(RUNNING.glob("*.timer"))
INSTALLED = "/opt/servicedesk/"
# Of Python and PostgreSQL, not ours.
OTHERS = {"PYTHONDONTWRITEBYTECODE", "POSTGRES_USER", "POSTGRES_DB", "POSTGRES_PASSWORD_FILE"}


def read_by_the_desk() -> set[str]:
    """The variables that the sources ask the environment for."""
    asked = re.compile(r"""(?:\benv(?:\.\w+)?\(|os\.environ\.get\()"([A-Z_]+)\"""")
    files = [ROOT / "servicedesk" / "settings.py", ROOT / "servicedesk" / "serve.py"]
    return {name for file in files for name in asked.findall(file.read_text())}


def in_the_table() -> set[str]:
    text = (ROOT / "DEVELOPERS.md").read_text()
    table = text[text.index("| variable | meaning") :].partition("\n\n")[0]
    firsts = " ".join(line.split("|")[1] for line in table.splitlines())
    return set(re.findall(r"`([A-Z_]+)`", firsts))


def test_the_table_of_settings_holds_what_is_read_and_nothing_else() -> None:
    assert len(read_by_the_desk()) > 35
    assert in_the_table() == read_by_the_desk()


def read(unit: Path) -> RawConfigParser:
    parser = RawConfigParser(strict=True)
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read_string(unit.read_text())
    return parser


@pytest.mark.parametrize("unit", UNITS, ids=lambda unit: unit.name)
def test_a_unit_starts_what_is_there_with_settings_that_are_read(unit: Path) -> None:
    parser = read(unit)
    if unit.suffix == ".timer":
        assert unit.with_suffix(".service") in UNITS
        assert parser["Timer"]["OnCalendar"]
        return
    program, *arguments = shlex.split(parser["Service"]["ExecStart"])
    assert program.startswith(INSTALLED)
    assert (ROOT / program.removeprefix(INSTALLED)).stat().st_mode & 0o111
    assert arguments[:1] in ([], ["worker"], ["manage"])
    assert arguments[:1] != ["manage"] or arguments[1] in get_commands()
    assert parser["Service"]["User"] != "root"
    for line in (parser["Service"].get("Environment") or "").split():
        assert line.partition("=")[0] in read_by_the_desk()


SERVICES = [unit for unit in UNITS if unit.suffix == ".service"]


@pytest.mark.parametrize("unit", SERVICES, ids=lambda unit: unit.name)
def test_what_a_unit_writes_is_for_its_user_alone(unit: Path) -> None:
    service = read(unit)["Service"]
    assert service["UMask"] == "0077"
    # With "control-group" a worker's children would be told to end beside it, tasks in hand and all.
    assert service.get("Type") == "oneshot" or service["KillMode"] == "mixed"


def test_the_readmes_unit_says_what_the_unit_of_the_pages_says() -> None:
    text = (ROOT / "README.md").read_text()
    shown = text[text.index("   [Service]") :].partition("[Install]")[0]
    told = dict(line.strip().split("=", 1) for line in shown.splitlines() if "=" in line)
    service = read(RUNNING / "desk-web.service")["Service"]
    assert told == {name: service[name] for name in told}
    assert {"User", "ExecStart", "KillMode", "TimeoutStopSec", "UMask"} <= set(told)


# What the units set, by section, and how its value is written: systemd.unit(5), systemd.service(5),
# systemd.exec(5), systemd.kill(5), systemd.timer(5) and systemd.time(7) of systemd 252.
NAMES, PATHS = r"[\w@.-]+\.(target|service)( [\w@.-]+\.(target|service))*", r"/\S*( /\S*)*"
SPAN, YES_OR_NO = r"\d+(s|min|h)?", "true|false"
MANUAL = {
    "Unit": {"Description": ".+", "Wants": NAMES, "After": NAMES},
    "Service": {
        "Type": "simple|exec|oneshot|notify", "User": r"[a-z_][a-z0-9_-]*", "EnvironmentFile": r"-?/\S+",
        "ExecStart": r"/\S+( .+)?", "Nice": r"-?1?\d", "IOSchedulingClass": "realtime|best-effort|idle",
        "UMask": "0[0-7]{3}", "NoNewPrivileges": YES_OR_NO, "PrivateTmp": YES_OR_NO, "ProtectHome": YES_OR_NO,
        "Restart": "no|on-success|on-failure|always", "RestartSec": SPAN, "TimeoutStopSec": SPAN,
        "KillMode": "control-group|mixed|process|none", "ProtectSystem": "true|full|strict",
        "ReadWritePaths": PATHS,
    },
    "Timer": {"OnCalendar": r"\*-\*-\* \d{2}:\d{2}", "RandomizedDelaySec": SPAN, "Persistent": YES_OR_NO},
    "Install": {"WantedBy": NAMES},
}  # fmt: skip


def unlike_the_manual(units: list[Path]) -> list[str]:
    return [
        f"{unit.name}: {section}: {name}={value}"
        for unit in units
        for section, told in read(unit).items()
        for name, value in told.items()
        if not re.fullmatch(MANUAL.get(section, {}).get(name, "(?!)"), value)
    ]


def refused_by_systemd(units: list[Path]) -> list[str]:
    command = ["systemd-analyze", "verify", "--man=no", *map(str, units)]
    said = subprocess.run(command, capture_output=True, text=True, timeout=60)
    return [line for line in said.stderr.splitlines() if str(units[0].parent) in line or "desk-" in line]


# Systemd itself is asked too where there is one; no package of Python brings it.
READERS = [unlike_the_manual, *([refused_by_systemd] if shutil.which("systemd-analyze") else [])]
reader = pytest.mark.parametrize("faults", READERS, ids=lambda faults: faults.__name__)


def installed(folder: Path, old: str = "", new: str = "") -> list[Path]:
    """The units as they would stand in ``folder``, with something else in them."""
    for unit in UNITS:
        text = unit.read_text().replace(INSTALLED, f"{ROOT}/")
        (folder / unit.name).write_text(text.replace(old, new) if old else text)
    return [folder / unit.name for unit in UNITS]


@reader
def test_nothing_is_wrong_with_the_units(faults: Callable[[list[Path]], list[str]], tmp_path: Path) -> None:
    assert faults(installed(tmp_path)) == []


@reader
@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ("UMask=0077", "Umask=0077"),
        ("RestartSec=5", "RestartSec=soon"),
        ("KillMode=mixed", "KillMode=gently"),
        ("OnCalendar=*-*-* 03:30", "OnCalendar=at night"),
        ("ProtectSystem=strict\n", "ProtectSystem=strict\nWantedBy=multi-user.target\n"),
    ],
)
def test_what_is_wrong_with_a_unit_is_found(
    faults: Callable[[list[Path]], list[str]], right: str, wrong: str, tmp_path: Path
) -> None:
    assert faults(installed(tmp_path, right, wrong))


def test_the_container_takes_along_what_the_desk_needs_and_is_nobodys_root() -> None:
    lines = (RUNNING / "Containerfile").read_text().splitlines()
    copied = {name for line in lines if line.startswith("COPY ") for name in line.split()[1:-1]}
    rooms = {path.parent.name for path in ROOT.glob("*/__init__.py")}
    assert rooms - {"tests"} <= copied
    assert all((ROOT / name).exists() for name in copied)
    assert lines.index("USER servicedesk") > max(
        at for at, line in enumerate(lines) if line.startswith("RUN ")
    )
    named = {pair.partition("=")[0] for line in lines if line.startswith("ENV ") for pair in line.split()[1:]}
    assert named - OTHERS <= read_by_the_desk()


def test_the_example_of_several_containers_is_shut_and_names_settings_that_are_read() -> None:
    told = yaml.safe_load((RUNNING / "desk.compose.yaml").read_text())
    for name in ("web", "worker"):
        service = told["services"][name]
        assert service["read_only"]
        assert service["cap_drop"] == ["ALL"]
        assert set(service["environment"]) <= read_by_the_desk()
    assert all(port.startswith("127.0.0.1:") for port in told["services"]["web"]["ports"])
    # Some engines hand these words to a shell and quote them badly.
    assert all(re.fullmatch(r"[\w./-]+", word) for word in told["services"]["web"]["healthcheck"]["test"])
    volumes = {text.partition(":")[0] for one in told["services"].values() for text in one.get("volumes", [])}
    assert {name for name in volumes if not name.startswith(".")} == set(told["volumes"])


def guide() -> str:
    return (RUNNING / "RUNNING.md").read_text()


def commands_named() -> Iterator[str]:
    yield from re.findall(r"run manage ([a-z_]+)", guide())


def test_the_guide_names_commands_and_figures_that_there_are() -> None:
    assert len(set(commands_named())) > 5
    assert set(commands_named()) <= set(get_commands())
    sources = "".join(Path(module.__file__ or "").read_text() for module in (requests, state, tasks))
    figures = set(re.findall(r"`(desk_[a-z_]+)", guide()))
    assert len(figures) > 8
    assert [name for name in figures if _family(name) not in sources.replace("{name}", "started")] == []
    assert set(re.findall(r"`([A-Z]+_[A-Z_]+)`", guide())) - {"X_FORWARDED"} <= read_by_the_desk() | {
        "PGOPTIONS"
    }
    assert "servicedesk/running/RUNNING.md" in (ROOT / "README.md").read_text()


def _family(name: str) -> str:
    """As the sources write it; the client adds what kind of figure it is."""
    return re.sub(r"_(total|bucket)$", "", name) if not name.endswith("_up") else "desk_{what}_up"
