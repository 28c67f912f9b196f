"""Advice: what is not wrong in the settings but unwise; said by `check`, never a reason to stop."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from roewatch.judging.limits import NAMED_EVERY_MS, QUICK
from roewatch.room.moment import span_text
from roewatch.room.tank import ROOM
from roewatch.service.derived import why_no_dioxide
from roewatch.service.settings.document import Document, SettingsFault
from roewatch.service.settings.sections import BrokerSection, WebSettings
from roewatch.water.derived import WaterFacts

_AT_HOME = frozenset({"127.0.0.1", "::1", "localhost"})


def advice_on(
    document: Document,
    entries: Mapping[str, Sequence[tuple[int, Any]]],
    sections: Mapping[str, BaseModel],
) -> Iterator[SettingsFault]:
    """What a careful colleague would say of these settings."""
    if not entries["tank"]:
        yield document.placed(("tank",), "no tank", "Lay out a rack on the set-up page")
    if not entries["probe"]:
        yield document.placed(
            ("probe",), "no probe: nothing is watched", "Tie one on the set-up page"
        )
    yield from _on_probes(document, entries["probe"])
    probed = {probe.tank for _, probe in entries["probe"]}
    for index, tank in entries["tank"]:
        if tank.id not in probed:
            yield document.placed(
                ("tank", index), "no probe watches this tank", "Add a [[probe]] for it"
            )
        facts = WaterFacts(dkh=tank.dkh, tannin=tank.tannin, phosphate=tank.phosphate)
        why = why_no_dioxide(facts) if tank.dkh is not None else ""
        if why:
            yield document.placed(
                ("tank", index, "dkh"),
                f"CO2 is not worked out: {why}",
                "Measure it by hand: pH before and after a day of air",
            )
    if not entries["contact"]:
        yield document.placed(
            ("contact",), "nobody would be told of an alarm", "Add a [[contact]] with a way"
        )
    broker = sections["broker"]
    if isinstance(broker, BrokerSection) and broker.host not in _AT_HOME:
        if not broker.username:
            yield document.placed(
                ("broker", "host"),
                "the broker is asked without a password",
                "Add username = and password_file =, and a password to the broker",
            )
        elif not broker.tls:
            yield document.placed(
                ("broker", "tls"), "the password crosses the network in the clear", "Use TLS"
            )
    web = sections["web"]
    if isinstance(web, WebSettings) and web.host not in _AT_HOME and not web.address:
        yield document.placed(
            ("web", "address"),
            f"notices would link to {web.base}, which a phone may not reach",
            "Add address = with the name the phone knows",
        )


def _on_probes(document: Document, probes: Sequence[tuple[int, Any]]) -> Iterator[SettingsFault]:
    for index, probe in probes:
        if probe.tank != ROOM and probe.quantity in QUICK and probe.every > NAMED_EVERY_MS:
            yield document.placed(
                ("probe", index, "every"),
                f"read every {span_text(probe.every)} a probe out of the water, a buffer or poured "
                "water is found by its limits alone, without its name",
                "Let it speak every minute",
            )
