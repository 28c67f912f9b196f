"""The documentation: it builds without a warning, its links lead somewhere, and it is true."""

import re
import shlex
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
import typer
from tests.deploy.reference import PAGES, pages

from roewatch.service.cli import app

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "deploy/docs"
SOURCES = [*sorted(DOCS.rglob("*.md")), ROOT / "README.md"]


class Page(HTMLParser):
    """What a built page leads to, and what it fetches."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.fetched: list[str] = []
        self.ids: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {key: value or "" for key, value in attrs}
        self.ids.add(given.get("id", ""))
        if tag == "a" and "href" in given:
            self.links.append(given["href"])
        elif "src" in given or (tag == "link" and "href" in given):
            self.fetched.append(given.get("src") or given["href"])


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[Path, Page]:
    """The site, built strictly: a warning is an error."""
    site = tmp_path_factory.mktemp("site")
    done = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "-s", "-q", "-f", ROOT / "deploy/mkdocs.yml",
         "-d", site],
        check=False, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return {path: Page(path.read_text()) for path in sorted(site.rglob("*.html"))}


def test_every_link_inside_leads_to_a_place_there_is(built: dict[Path, Page]) -> None:
    broken = []
    for path, page in built.items():
        if path.name == "404.html":  # its links start at the site's root
            continue
        for link in page.links + page.fetched:
            parts = urlsplit(link)
            if parts.scheme or link == "#":
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            target = target / "index.html" if target.is_dir() else target
            there = target.exists() and (
                not parts.fragment or target not in built or parts.fragment in built[target].ids
            )
            if not there:
                broken.append(f"{path.name}: {link}")
    assert broken == []


def test_no_page_fetches_anything_from_another_machine(built: dict[Path, Page]) -> None:
    outside = [
        (path.name, source)
        for path, page in built.items()
        for source in page.fetched
        if urlsplit(source).netloc
    ]
    assert outside == []


def test_every_page_is_in_the_menu() -> None:
    menu = (ROOT / "deploy/mkdocs.yml").read_text()
    for page in DOCS.rglob("*.md"):
        assert str(page.relative_to(DOCS)) in menu


@pytest.mark.parametrize("name", sorted(pages()))
def test_a_reference_page_is_what_the_program_says(name: str) -> None:
    assert (PAGES / name).read_text(encoding="utf-8") == pages()[name], (
        "python -m tests.deploy.refresh_reference"
    )


def _typed() -> list[tuple[str, list[str]]]:
    """Every roewatch command in a shell block or a table of the docs, by file."""
    found = []
    for source in SOURCES:
        text = source.read_text(encoding="utf-8").replace("\\\n", " ")
        blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
        lines = [line for block in blocks for line in block.splitlines()]
        lines += re.findall(r"`(roewatch [a-z][^`]*)`", text)
        for line in lines:
            match = re.search(r"(?:^|-- |/bin/)roewatch ([a-z].*)", line)
            if match:
                words = shlex.split(match[1].replace("…", ""), comments=True)
                found.append((f"{source.name}: {line.strip()[:70]}", words))
    return found


@pytest.mark.parametrize(("where", "words"), _typed(), ids=lambda value: str(value)[:60])
def test_a_command_in_the_docs_is_one_there_is_with_options_it_has(
    where: str, words: list[str]
) -> None:
    command = typer.main.get_command(app)
    while words and (below := getattr(command, "commands", None)):
        name = words.pop(0).rstrip(",")
        if name not in below:
            pytest.fail(f"no command {name!r}; {where}")
        command = below[name]
    known = {opt for param in command.params for opt in [*param.opts, *param.secondary_opts]}
    asked = {word.partition("=")[0] for word in words if word.startswith("--")}
    assert asked <= known | {"--help"}, where


def test_files_the_docs_name_are_there() -> None:
    for source in SOURCES:
        for name in re.findall(r"\bdeploy/[\w./-]*\w", source.read_text(encoding="utf-8")):
            assert (ROOT / name).exists() or name == "deploy/docs", f"{source.name}: {name}"
