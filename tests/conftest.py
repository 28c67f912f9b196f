"""What every test shares: real servers are found here, and said aloud when they are missing."""

import importlib.util
import os
import shutil

import pytest

_PROGRAMS = {
    "mosquitto": ("mosquitto", "/usr/sbin/mosquitto"),
    "victoria-metrics": ("victoria-metrics",),
    "chromium": ("chromium",),
}
_NOT_IN_CI = {"docker"}  # no container engine can be installed from packages here; said, not hidden


def found(server: str) -> str | None:
    """The path of the program for `server`, or None when this machine does not have it."""
    if server == "docker":
        # a client without an engine is no container engine
        return shutil.which("docker") if os.path.exists("/var/run/docker.sock") else None  # noqa: PTH110
    if server == "phreeqpython":
        return "phreeqpython" if importlib.util.find_spec("phreeqpython") else None
    for name in _PROGRAMS[server]:
        path = shutil.which(name)
        if path:
            return path
    return None


_not_run: list[str] = []


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    kept, dropped = [], []
    for item in items:
        missing = [
            mark.args[0] for mark in item.iter_markers("needs") if found(mark.args[0]) is None
        ]
        if not missing:
            kept.append(item)
            continue
        dropped.append(item)
        _not_run.append(f"{item.nodeid} (needs {', '.join(missing)})")
    items[:] = kept
    if dropped:
        config.hook.pytest_deselected(items=dropped)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if _not_run:
        terminalreporter.section("not run: a server is missing")
        for line in _not_run:
            terminalreporter.line(line)


def pytest_sessionfinish(session: pytest.Session) -> None:
    absent = [line for line in _not_run if not any(f"needs {name}" in line for name in _NOT_IN_CI)]
    if absent and os.environ.get("CI"):
        session.exitstatus = 1
