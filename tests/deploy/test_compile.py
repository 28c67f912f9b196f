"""Compiled, the judging is the same: every flag, every finding, every state it keeps."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
COMPILE = ROOT / "deploy/compile.py"


def judged(program: Path) -> subprocess.Popen[str]:
    """A child that judges three days of a room with faults by the package in `program`."""
    folders = [program, ROOT / "simulators", ROOT]
    return subprocess.Popen(
        [sys.executable, "-m", "tests.deploy.judged_room"],
        env={"PYTHONPATH": ":".join(map(str, folders)), "PATH": "/usr/bin:/bin"},
        cwd=program,
        stdout=subprocess.PIPE,
        text=True,
    )


@pytest.mark.needs("gcc")
@pytest.mark.timeout(500)  # half a minute of compiling, more on a busy machine
def test_a_room_is_judged_the_same_by_the_compiled_program(tmp_path: Path) -> None:
    source = shutil.ignore_patterns("__pycache__", "*.so")
    shutil.copytree(ROOT / "daemon/roewatch", tmp_path / "roewatch", ignore=source)
    plain = judged(ROOT / "daemon")
    subprocess.run([sys.executable, COMPILE, tmp_path], check=True, stdout=subprocess.DEVNULL)
    compiled = judged(tmp_path)
    told, told_compiled = (child.communicate(timeout=300)[0] for child in (plain, compiled))
    assert plain.returncode == compiled.returncode == 0
    kind, *said = told.splitlines()
    kind_compiled, *said_compiled = told_compiled.splitlines()
    assert (kind, kind_compiled) == ("plain", "compiled")
    assert len(said) > 10  # findings there are
    assert said == said_compiled


def test_a_folder_without_the_program_is_refused(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, COMPILE, tmp_path], check=False, capture_output=True, text=True
    )
    assert done.returncode == 1
    assert "usage: compile.py FOLDER" in done.stderr
