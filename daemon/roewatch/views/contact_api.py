"""Contacts for scripts: whom to tell, by which ways; an address goes in and never comes out."""

from collections.abc import Callable

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from roewatch.views.act import Fields
from roewatch.views.asking import Asking, Path
from roewatch.views.body import Body, known, number, text, within
from roewatch.views.contact_deeds import LONGEST_URL, ContactDeeds
from roewatch.views.contact_ports import ContactView
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor
from roewatch.views.wire import Json

_WAY = ("name", "url", "wait_s")


def contact_json(contact: ContactView) -> Json:
    """One person."""
    return {
        "name": contact.name,
        "quiet": contact.quiet,
        "lowest": contact.lowest,
        "ways": [{"name": w.name, "kind": w.kind, "wait_s": w.wait_s} for w in contact.ways],
    }


def _way(body: Body) -> Fields:
    """A way as a form would tell it."""
    return {
        "way": text(body, "name"),
        "url": text(body, "url", most=LONGEST_URL),
        "wait_s": number(body, "wait_s"),
    }


class ContactApi:
    """Whoever may look may read; deeds ask for the pages' own right."""

    def __init__(self, desk: Desk) -> None:
        self._deeds = ContactDeeds(desk)

    def contacts(self, _: Request) -> Response:
        """Whom to tell, in their order."""
        book = self._deeds.book
        return JSONResponse(
            {
                "escalate_after": book.patience(),
                "contacts": [contact_json(contact) for contact in book.contacts()],
            }
        )

    def patience(self, _: Path, body: Body, __: Visitor) -> str:
        """How long a serious alarm waits for somebody."""
        known(body, "escalate_after")
        return self._deeds.be_patient({"escalate_after": text(body, "escalate_after")})

    def add(self, _: Path, body: Body, __: Visitor) -> str:
        """One more person."""
        known(body, "name", "way")
        return self._deeds.add({"name": text(body, "name")} | _way(within(body, "way", *_WAY)))

    def change(self, path: Path, body: Body, _: Visitor) -> str:
        """Another name, other hours, another least priority."""
        known(body, "name", "quiet", "lowest")
        return self._deeds.change(path["contact"], {name: text(body, name) for name in body})

    def remove(self, path: Path, _: Body, __: Visitor) -> str:
        """Tell them no more."""
        return self._deeds.remove(path["contact"])

    def sooner(self, path: Path, _: Body, __: Visitor) -> str:
        """Tell them before the one in front of them."""
        return self._deeds.sooner(path["contact"])

    def add_way(self, path: Path, body: Body, _: Visitor) -> str:
        """One more way to somebody."""
        known(body, *_WAY)
        return self._deeds.add_way(path["contact"], _way(body))

    def change_way(self, path: Path, body: Body, _: Visitor) -> str:
        """Another address or another wait."""
        known(body, "url", "wait_s")
        return self._deeds.change_way(path["contact"], _way(body) | {"way": path["way"]})

    def remove_way(self, path: Path, _: Body, __: Visitor) -> str:
        """By that way no more."""
        return self._deeds.remove_way(path["contact"], path["way"])


def contact_api_routes(desk: Desk) -> list[BaseRoute]:
    """The addresses under /api that speak of contacts."""
    contacts, asking = ContactApi(desk), Asking(desk.door)

    def routed(where: str, deed: Callable[[Path, Body, Visitor], str], method: str) -> BaseRoute:
        return Route(where, asking.doing(deed), methods=[method])

    one = "/api/contacts/{contact}"
    way = f"{one}/ways/{{way}}"
    return [
        Route("/api/contacts", asking.reading(contacts.contacts), methods=["GET"]),
        routed("/api/contacts", contacts.add, "POST"),
        routed("/api/telling", contacts.patience, "PUT"),
        routed(one, contacts.change, "PUT"),
        routed(one, contacts.remove, "DELETE"),
        routed(f"{one}/sooner", contacts.sooner, "POST"),
        routed(f"{one}/ways", contacts.add_way, "POST"),
        routed(way, contacts.change_way, "PUT"),
        routed(way, contacts.remove_way, "DELETE"),
    ]
