"""What every test shares: real servers are found here, and said aloud when they are missing."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from tests.journeys.browser import Browser, browser

# a busy machine is no fault: how long an example takes to make or to run decides nothing
settings.register_profile("roewatch", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("roewatch")

_IN_CI_TOO = {"docker"}  # no package brings a container engine: said, not hidden


def found(server: str) -> str | None:
    """The path of the program for `server`, or None when this machine does not have it."""
    if server == "docker":
        # a client without an engine is no container engine
        return shutil.which("docker") if Path("/var/run/docker.sock").exists() else None
    if server == "axe":
        # rules for the browser, not a program: `npm ci` brings them
        rules = Path(__file__).parent / "accessibility/node_modules/axe-core/axe.min.js"
        return str(rules) if rules.exists() else None
    # Debian keeps daemons out of a plain user's path
    return shutil.which(server) or shutil.which(server, path="/usr/sbin:/usr/bin")


@pytest.fixture(scope="module")
def tab() -> Iterator[Browser]:
    """A browser's tab, for tests that need chromium."""
    program = found("chromium")
    assert program is not None
    with browser(program) as tab:
        yield tab


_not_run: set[str] = set()


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Take out what needs a missing server, and remember it by name."""
    dropped = []
    for item in items:
        missing = [m.args[0] for m in item.iter_markers("needs") if found(m.args[0]) is None]
        if missing:
            dropped.append(item)
            _not_run.add(f"{item.nodeid} (needs {', '.join(missing)})")
    if dropped:
        items[:] = [item for item in items if item not in dropped]
        config.hook.pytest_deselected(items=dropped)


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """A test that could not run is a failure in CI; elsewhere it is told at the end."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:  # a worker hands its list to the one who reports
        output["not_run"] = sorted(_not_run)
        return
    grave = [line for line in _not_run if not any(f"needs {s})" in line for s in _IN_CI_TOO)]
    if grave and os.environ.get("CI"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: object) -> None:
    """Gather what a worker could not run."""
    _not_run.update(getattr(node, "workeroutput", {}).get("not_run", ()))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name every test that did not run."""
    if _not_run:
        terminalreporter.section("not run: a server is missing")
        for line in sorted(_not_run):
            terminalreporter.line(line)
