"""A body: what a script sends, read key by key; what is unknown or of the wrong kind is refused."""

from collections.abc import Mapping, Sequence

from roewatch.views.asked import AskedWrongError

MOST_TEXT = 300
_MOST_ITEMS = 20
_MOST = 10**15

Body = Mapping[str, object]


def known(body: Body, *names: str, within: str = "") -> None:
    """Raises AskedWrongError for a key that is none of these."""
    strange = sorted(str(name)[:40] for name in body.keys() - set(names))
    if strange:
        where = f" in {within}" if within else ""
        raise AskedWrongError(f"{', '.join(strange)}: unknown{where}; known: {', '.join(names)}")


def text(body: Body, name: str, usual: str = "", *, most: int = MOST_TEXT) -> str:
    """A text, or `usual` where it is not told."""
    value = body.get(name, usual)
    if not isinstance(value, str) or len(value) > most:
        raise AskedWrongError(f"{name}: a text of at most {most} characters")
    return value


def number(body: Body, name: str) -> str:
    """A number as a form would hold it; empty where it is not told, or null."""
    value = body.get(name)
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise AskedWrongError(f"{name}: a number, or null")
    if isinstance(value, int) and abs(value) >= _MOST:
        raise AskedWrongError(f"{name}: a smaller number")
    return repr(value)


def flag(body: Body, name: str) -> bool:
    """True or false; false where it is not told."""
    value = body.get(name, False)
    if not isinstance(value, bool):
        raise AskedWrongError(f"{name}: true or false")
    return value


def within(body: Body, name: str, *names: str) -> Body:
    """An object with these keys; empty where it is not told."""
    value = body.get(name, {})
    if not isinstance(value, dict):
        raise AskedWrongError(f"{name}: an object with {', '.join(names)}")
    known(value, *names, within=name)
    return value


def items(body: Body, name: str, *names: str) -> Sequence[Body]:
    """A list of objects with these keys; empty where it is not told."""
    value = body.get(name, [])
    if not isinstance(value, list) or len(value) > _MOST_ITEMS:
        raise AskedWrongError(f"{name}: a list of at most {_MOST_ITEMS} objects")
    for one in value:
        if not isinstance(one, dict):
            raise AskedWrongError(f"{name}: each an object with {', '.join(names)}")
        known(one, *names, within=name)
    return value
