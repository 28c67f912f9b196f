"""An example: a piece of what a probe sent, short, quoted and safe to print or log."""

LONGEST = 80


def example(sent: bytes | str, longest: int = LONGEST) -> str:
    """`sent` in double quotes, at most `longest` characters of it, with its size if cut.

    Whatever is not printable (control codes, line breaks, bytes that are no UTF-8, signs that turn
    the writing direction) is shown as a backslash escape, so that no payload can forge a log line.
    """
    if isinstance(sent, bytes):
        text = sent[: 4 * longest].decode("utf-8", errors="backslashreplace")
        size, cut = f"{len(sent)} bytes", len(sent) > 4 * longest
    else:
        text, size, cut = sent[:longest], f"{len(sent)} characters", len(sent) > longest
    cut = cut or len(text) > longest
    safe = "".join(_safe(sign) for sign in text[:longest])
    return f'"{safe}"… ({size})' if cut else f'"{safe}"'


def _safe(sign: str) -> str:
    if sign == '"':
        return '\\"'
    if sign.isprintable():
        return sign
    # a lone surrogate can come out of a JSON string and cannot be encoded for a log file
    return sign.encode("unicode_escape", errors="surrogatepass").decode("ascii")
