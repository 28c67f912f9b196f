"""Paper: one of our self-contained documents as PDF."""


class NoPaperError(ValueError):
    """This machine cannot make a PDF; the text says what to install."""


def pdf(html: str) -> bytes:
    """A document as PDF bytes; it may ask for nothing outside itself.

    Raises NoPaperError when the `pdf` extra, or a library it stands on, is not installed.
    """
    try:
        import weasyprint  # noqa: PLC0415 an optional extra, and slow to load
    except ImportError as fault:
        raise NoPaperError(
            "no PDF without weasyprint; install it with: pip install 'roewatch[pdf]', or print the "
            "page from the browser"
        ) from fault
    except OSError as fault:  # the package is there, the text engine it calls is not
        raise NoPaperError(
            f"no PDF without the Pango library ({fault}); install it with: apt install "
            "libpango-1.0-0 libpangoft2-1.0-0, or print the page from the browser"
        ) from fault

    nothing = weasyprint.URLFetcher(allowed_protocols=frozenset())
    document = weasyprint.HTML(string=html, url_fetcher=nothing)
    return bytes(document.write_pdf())
