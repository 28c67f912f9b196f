"""Writes the reference pages anew: `python -m tests.deploy.refresh_reference`."""

from tests.deploy.reference import PAGES, pages

for name, text in pages().items():
    (PAGES / name).write_text(text, encoding="utf-8")
