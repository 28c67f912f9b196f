"""What a keeper may do to the contacts, by a form or the API: texts in, a sentence out."""

from roewatch.room.kind import Priority
from roewatch.views.act import Fields
from roewatch.views.asked import AskedWrongError, NotHereError
from roewatch.views.contact_ports import ContactBook, ContactView, WayWish
from roewatch.views.pages import Desk
from roewatch.views.setup_deeds import workshop_of
from roewatch.views.typed import number_of
from roewatch.water.refusal import RefusedError

LONGEST_NAME = 80
LONGEST_URL = 2_000
LOWEST = (Priority.LOW, Priority.MEDIUM, Priority.HIGH)
"""The least priorities somebody can be told of."""


class ContactDeeds:
    """Each returns what to tell. Raises AskedWrongError, or ValueError in the book's words."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    @property
    def book(self) -> ContactBook:
        """Whom to tell. Raises HTTPException where no room file can be written."""
        return workshop_of(self._desk).contacts

    def _named(self, name: str) -> ContactView:
        found = next((one for one in self.book.contacts() if one.name == name), None)
        if found is None:
            raise NotHereError(f"Nobody called {name[:LONGEST_NAME]!r} is told of anything.")
        return found

    def add(self, fields: Fields) -> str:
        """One more person, the last to be told."""
        name = _name(fields.get("name", ""))
        self.book.add(name, _way(fields, needed=True))
        return f"{name} is told from now on. Send a test, and look at the phone."

    def change(self, name: str, fields: Fields) -> str:
        """Another name, other hours, another least priority; what is not told stays."""
        before = self._named(name)
        to = _name(fields.get("name", name))
        quiet = fields.get("quiet", before.quiet).strip()
        if "quiet_from" in fields or "quiet_to" in fields:
            quiet = "-".join(fields.get(f"quiet_{end}", "").strip() for end in ("from", "to"))
            quiet = "" if quiet == "-" else quiet
        lowest = fields.get("lowest", before.lowest)
        if lowest not in LOWEST:
            raise AskedWrongError(f"lowest: one of {', '.join(LOWEST)}")
        self.book.change(name, to=to, quiet=quiet, lowest=Priority(lowest))
        return f"{to}: kept."

    def remove(self, name: str) -> str:
        """Tell them no more."""
        self.book.remove(self._named(name).name)
        left = len(self.book.contacts())
        return f"{name} is told no more." + ("" if left else " Now nobody is told of an alarm.")

    def sooner(self, name: str) -> str:
        """Tell them before the one in front of them."""
        self.book.sooner(self._named(name).name)
        return f"{name} is told sooner."

    def add_way(self, name: str, fields: Fields) -> str:
        """One more way to somebody."""
        way = _way(fields, needed=True)
        self.book.add_way(self._named(name).name, way)
        return f"{name} is told by {way.name} from now on. Send a test, and look at the phone."

    def change_way(self, name: str, fields: Fields) -> str:
        """Another address or another wait; an empty address leaves the one there is."""
        way = _way(fields, needed=False)
        self._has(name, way.name)
        self.book.change_way(name, way)
        return f"{name}, {way.name}: kept. Send a test, and look at the phone."

    def remove_way(self, name: str, way: str) -> str:
        """By that way no more."""
        self._has(name, way)
        self.book.remove_way(name, way)
        return f"{name} is told by {way} no more."

    def _has(self, name: str, way: str) -> None:
        if way not in {one.name for one in self._named(name).ways}:
            raise NotHereError(f"{name} has no way called {way[:40]!r}.")

    def be_patient(self, fields: Fields) -> str:
        """How long a serious alarm waits for somebody before the next one is told."""
        self.book.be_patient(fields.get("escalate_after", ""))
        return f"The next one is told after {self.book.patience()}."


def _name(text: str) -> str:
    name = text.strip()
    if not 1 <= len(name) <= LONGEST_NAME or not name.isprintable():
        raise AskedWrongError(f"A person needs a name of at most {LONGEST_NAME} characters.")
    return name


def _way(fields: Fields, *, needed: bool) -> WayWish:
    """The way a form speaks of. Its address is never quoted: it holds a secret."""
    url, wait = fields.get("url", "").strip(), fields.get("wait_s", "").strip()
    if needed and not url:
        raise AskedWrongError("Write the address of the way, like ntfy://… or mailto://….")
    if len(url) > LONGEST_URL or not url.isprintable():
        raise AskedWrongError(f"An address has at most {LONGEST_URL} characters, all in one line.")
    try:
        wait_s = number_of(wait, "seconds to wait") if wait else None
    except RefusedError as fault:
        raise AskedWrongError(str(fault)) from fault
    if wait_s is not None and not 1 <= wait_s <= 300:
        raise AskedWrongError("Wait for a receiver between 1 and 300 seconds; 15 is usual.")
    way = fields.get("way", "").strip()
    if not way or len(way) > 64:
        raise AskedWrongError("A way needs a short name, like phone.")
    return WayWish(name=way, url=url, wait_s=wait_s)
