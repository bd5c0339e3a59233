"""Settings, read by processes that start at the same time."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAY_KEY = """
import sys
print("ready", flush=True)
sys.stdin.readline()
from servicedesk import settings
print(settings.SECRET_KEY)
"""


def test_processes_that_start_together_on_a_new_desk_share_one_key(tmp_path: Path) -> None:
    surroundings = {key: value for key, value in os.environ.items() if key != "SECRET_KEY"}
    surroundings["VAR_DIR"] = str(tmp_path / "var")
    started = [
        subprocess.Popen(
            [sys.executable, "-c", SAY_KEY],
            cwd=ROOT,
            env=surroundings,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(6)
    ]
    for process in started:
        assert process.stdout
        process.stdout.readline()
    for process in started:
        assert process.stdin
        process.stdin.write("go\n")
        process.stdin.flush()
    keys = {process.communicate(timeout=60)[0].strip() for process in started}
    assert len(keys) == 1
    assert len(keys.pop()) >= 50
    assert [path.name for path in (tmp_path / "var").glob("secret*")] == ["secret_key"]
    assert (tmp_path / "var" / "secret_key").stat().st_mode & 0o077 == 0
