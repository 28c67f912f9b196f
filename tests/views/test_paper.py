"""Paper: a document of ours as PDF."""

import socket
import sys

import pypdfium2
import pytest

from roewatch.views.paper import NoPaperError, pdf

PAGE = "<!doctype html><meta charset='utf-8'><style>@page{size:A4}</style><h1>{}</h1>"


def text_of(paper: bytes) -> list[str]:
    """What stands on each page."""
    document = pypdfium2.PdfDocument(paper)
    return [page.get_textpage().get_text_range() for page in document]


def test_a_document_becomes_pages_of_a4_whose_words_can_be_read() -> None:
    paper = pdf(PAGE.replace("{}", "Brood 2026-14, pH 5.2 µS/cm"))
    assert text_of(paper) == ["Brood 2026-14, pH 5.2 µS/cm"]
    width, height = pypdfium2.PdfDocument(paper)[0].get_size()
    assert (round(width), round(height)) == (595, 842)  # ISO 216 A4, 210 x 297 mm, at 72 an inch


def test_nothing_outside_the_document_is_asked_for() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.setblocking(False)
        address = f"http://127.0.0.1:{listener.getsockname()[1]}/x.png"
        paper = pdf(PAGE.replace("{}", f"<img src='{address}'>text"))
        with pytest.raises(BlockingIOError):
            listener.accept()
    assert "text" in text_of(paper)[0]


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(NoPaperError, match=r"pip install 'roewatch\[pdf\]'"):
        pdf(PAGE)
