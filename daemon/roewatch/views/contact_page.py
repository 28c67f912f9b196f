"""The contacts page: whom to tell, in their order, by which ways, and when they may sleep."""

from collections.abc import Callable
from functools import partial
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from roewatch.views.act import Fields, back
from roewatch.views.contact_deeds import LOWEST, ContactDeeds
from roewatch.views.pages import Desk
from roewatch.views.visitor import Visitor

_TOLD_OF = {
    "low": "everything",
    "medium": "today and serious",
    "high": "serious only",
}


def contacts_page(desk: Desk, request: Request) -> Response:
    """Everybody who is told."""
    book = ContactDeeds(desk).book
    return desk.page(
        request,
        "contacts.html",
        desk.lookout.look(),
        contacts=book.contacts(),
        patience=book.patience(),
        told_of=[(lowest.value, _TOLD_OF[lowest]) for lowest in LOWEST],
    )


class ContactForms:
    """Each does one deed and comes back."""

    def __init__(self, desk: Desk) -> None:
        self._deeds = ContactDeeds(desk)

    def add(self, fields: Fields) -> str:
        """One more person."""
        return self._deeds.add(fields)

    def change(self, fields: Fields) -> str:
        """Another name, other hours, another least priority."""
        return self._deeds.change(fields.get("contact", ""), fields)

    def remove(self, fields: Fields) -> str:
        """Tell them no more."""
        return self._deeds.remove(fields.get("contact", ""))

    def sooner(self, fields: Fields) -> str:
        """Tell them before the one in front of them."""
        return self._deeds.sooner(fields.get("contact", ""))

    def add_way(self, fields: Fields) -> str:
        """One more way to somebody."""
        return self._deeds.add_way(fields.get("contact", ""), fields)

    def change_way(self, fields: Fields) -> str:
        """Another address or another wait."""
        return self._deeds.change_way(fields.get("contact", ""), fields)

    def remove_way(self, fields: Fields) -> str:
        """By that way no more."""
        return self._deeds.remove_way(fields.get("contact", ""), fields.get("way", ""))

    def patience(self, fields: Fields) -> str:
        """How long a serious alarm waits for somebody."""
        return self._deeds.be_patient(fields)


def _form(deed: Callable[[Fields], str], _: Request, fields: Fields, __: Visitor) -> Response:
    return back({"back": "/contacts"}, deed(fields))


def contact_routes(
    desk: Desk, page: Callable[..., Any], form: Callable[..., Any]
) -> list[BaseRoute]:
    """page, form: put a view behind the door, and a deed behind our seal."""
    forms = ContactForms(desk)
    deeds = {
        "/contacts": forms.add,
        "/contacts/change": forms.change,
        "/contacts/remove": forms.remove,
        "/contacts/sooner": forms.sooner,
        "/contacts/patience": forms.patience,
        "/contacts/ways": forms.add_way,
        "/contacts/ways/change": forms.change_way,
        "/contacts/ways/remove": forms.remove_way,
    }
    return [
        Route("/contacts", page(partial(contacts_page, desk)), methods=["GET"]),
        *(
            Route(where, form(partial(_form, deed)), methods=["POST"])
            for where, deed in deeds.items()
        ),
    ]
