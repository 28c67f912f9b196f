"""Scenes: every page in every state of the room, for whoever looks at pages in a real browser."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.types import ASGIApp, Receive, Scope, Send
from tests.journeys.browser import Browser
from tests.journeys.served import WebPlace, served
from tests.views.room_of_broods import GlassBroods, Nursery, nursery, tried
from tests.views.room_of_glass import NOW, PAST, alarm, boathouse, hall, room_of, usual, well
from tests.views.test_door import ACCESS, KEY
from tests.views.workshop_of_glass import GlassWorkshop

from roewatch.alarms.alarm import AlarmChange, State
from roewatch.alarms.token import make_token
from roewatch.room.journal import Deed, JournalEntry
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from roewatch.room.quantity import Quantity
from roewatch.room.tank import Room
from roewatch.views.app import app_of
from roewatch.views.ports import LinkView, RefusedView
from roewatch.views.setup_ports import Listening
from roewatch.views.visitor import NOBODY, Access

SIZES = {"narrow": (320, 700), "phone": (390, 844), "wide": (1280, 800)}
LIGHTS = ("night", "day", "red")
UNFOLDED = "document.querySelectorAll('details').forEach(d => d.open = true)"
"""A script that opens everything that is folded on the open page."""

FILLED = (
    "/water?for=B2&name0=rain&litres0=17&dkh0=0.2&dgh0=0.1&cond0=12&celsius0=24"
    "&name1=tap&litres1=3&ph1=7.6&dkh1=9&dgh1=11&cond1=430&celsius1=24&mains1=on"
)
RAMP = (
    FILLED.replace("for=B2", "for=A1")
    + "&now_ph=7.3&now_t=25.5&now_us=180&now_kh=3&now_gh=4&to_low=&to_high=&to_kh=2.2"
)
TOO_MUCH = FILLED.replace("dkh0=0.2", "dkh0=900")

ANYWHERE = (
    "/",
    "/alarms",
    "/alarms/performance",
    "/broods",
    "/broods/new",
    "/broods/compare",
    "/water",
    "/water/calibrate",
    "/records",
    "/sitter",
    "/setup",
    "/contacts",
    "/move",
    "/find?tank=nowhere",
    "/nowhere",
)
OF_THE_BOATHOUSE = (
    "/tank/A1",
    "/tank/A1?table=ph",
    "/tank/A1?span=6h",
    "/tank/B2",
    "/tank/B5",
    "/tank/B6",
    "/alarms/42",
    "/records/1",
    FILLED,
    TOO_MUCH,
    RAMP.replace("/water", "/water/ramp"),
    RAMP.replace("/water", "/water/card"),
    "/water/calibrate?probe=a1-ph",
    "/move?tank=A1",
    "/broods/2026-14",
    "/broods/2026-11",
    "/broods/2026-15",
    "/broods/2026-3",
    "/broods/new?tank=A2",
    "/broods/2026-11/report",
    "/broods/2026-14/sheet",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterATap:
    """A page that only a form leads to. taps: scripts, each of which leads to another page.

    says: what stands there.
    """

    state: str
    address: str
    taps: Sequence[str]
    name: str
    says: str

    def show(self, tab: Browser, base: str) -> None:
        """Open it in the browser."""
        tab.open(base + self.address)
        for tap in self.taps:
            tab.events.clear()
            tab.run(tap)
            tab.wait_event("Page.loadEventFired")


def _tap(selector: str, words: str = "") -> str:
    buttons = f"[...document.querySelectorAll({selector!r})]"
    return f"{buttons}.find(b => b.innerText.includes({words!r})).click()"


_FORGED = "(f => { f.action = '/records'; f.submit(); })(document.querySelector('.themes'))"
_UNSEALED = f"document.querySelector('.themes [name=token]').value = ''; {_FORGED}"
AFTER_A_TAP = (
    AfterATap(
        state="usual", address="/setup", taps=[_tap("form[action='/setup/test'] button")],
        name="tested", says="Test alarm",
    ),
    AfterATap(
        state="usual", address="/records?tank=A2", taps=[_tap(".onetap button")],
        name="once", says="recorded.",
    ),
    AfterATap(
        state="just-now", address="/records?tank=A2", taps=[_tap(".onetap button", "15")],
        name="again", says="once is right",
    ),
    AfterATap(
        state="usual", address="/broods/2026-14", taps=[_tap(".taps button", "Fed")] * 2,
        name="again", says="once is right",
    ),
    AfterATap(
        state="usual", address="/alarms", taps=[_UNSEALED],
        name="unsealed", says="older than the program",
    ),
    AfterATap(
        state="guest", address="/alarms", taps=[_FORGED],
        name="forbidden", says="Nothing was changed",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """One state of the room: what is served, and the addresses that can be looked at in it."""

    app: Callable[[], Starlette]
    addresses: Sequence[str]


def _app(
    room: Nursery, access: Access = NOBODY, workshop: GlassWorkshop | None = None
) -> Starlette:
    records, live, deeds, broods = room
    return app_of(
        records, live, deeds,
        settings=WebPlace(), past=PAST, access=access, broods=broods,
        workshop=workshop or GlassWorkshop(),
    )  # fmt: skip


def flood() -> Nursery:
    """Twenty-four alarms at once, of every priority; some of them have been seen."""
    room = nursery()
    records = room[0]
    tanks = [t.id for t in records.room.tanks]
    kinds = (
        (Kind.BELOW_WINDOW, Quantity.TEMPERATURE, Priority.HIGH,
         "22.1 °C, window 24.0-27.0, falling 0.8 °C an hour since 13:26."),
        (Kind.ABOVE_WINDOW, Quantity.PH, Priority.MEDIUM,
         "pH 7.31, window 5.2-6.8, rising 0.20 an hour since 12:50."),
        (Kind.HEATER_WEAK, Quantity.TEMPERATURE, Priority.MEDIUM,
         "The heater gives 14 of its 25 W; it is on 96 % of the time."),
        (Kind.PROBE_NOISY, Quantity.PH, Priority.LOW, "pH jumps by 0.2 between readings."),
    )  # fmt: skip
    records.kept_alarms = [
        alarm(
            100 + n,
            tanks[n % 12],
            kind,
            quantity=quantity,
            priority=priority,
            message=message,
            since_ms=NOW - (65 + n) * MINUTE_MS,
            state=State.ACKNOWLEDGED if n % 8 == 7 else State.UNACKNOWLEDGED,
        )
        for n in range(24)
        for kind, quantity, priority, message in (kinds[n // 6],)
    ]
    return room


PASSED: Sequence[tuple[str, Kind, Quantity | None, Priority, int, int, int]] = (
    ("A2", Kind.BELOW_WINDOW, Quantity.TEMPERATURE, Priority.HIGH, 18 * 60, 95, 12),
    ("B1", Kind.PROBE_SILENT, Quantity.PH, Priority.MEDIUM, 44 * 60, 25, 0),
    ("B3", Kind.PROBE_NOISY, Quantity.PH, Priority.LOW, 75 * 60 + 50, 6, 40),
    ("B3", Kind.PROBE_NOISY, Quantity.PH, Priority.LOW, 75 * 60 + 34, 9, 24),
    ("B3", Kind.PROBE_NOISY, Quantity.PH, Priority.LOW, 75 * 60 + 12, 1, 0),
    ("A6", Kind.HEATER_DEAD, Quantity.TEMPERATURE, Priority.HIGH, 131 * 60, 340, 5),
    ("A1", Kind.ABOVE_WINDOW, Quantity.PH, Priority.HIGH, 180 * 60, 30, 0),
    ("B4", Kind.HEATER_WEAK, Quantity.TEMPERATURE, Priority.MEDIUM, 400 * 60, 2900, 200),
    ("A1", Kind.ABOVE_WINDOW, Quantity.PH, Priority.HIGH, 520 * 60, 45, 9),
)
"""A month of alarms that are over: minutes ago it began, held for, seen after (0: never)."""


def lived_in() -> Nursery:
    """The nursery with a month of alarms behind it, each with its changes."""
    room = nursery()
    records = room[0]
    for number, (tank, kind, quantity, priority, ago, held, seen) in enumerate(PASSED, 20):
        began = NOW - ago * MINUTE_MS
        rang = alarm(
            number, tank, kind, quantity=quantity, priority=priority,
            since_ms=began, raised_ms=began, changed_ms=began,
        )  # fmt: skip
        steps = [(began, rang)]
        if seen:
            at_ms = began + seen * MINUTE_MS
            rang = replace(
                rang, state=State.ACKNOWLEDGED, acknowledged_ms=at_ms, acknowledged_by="Keeper"
            )
            steps.append((at_ms, rang))
        over = began + held * MINUTE_MS
        rang = replace(rang, state=State.NORMAL, present=False, returned_ms=over)
        records.kept_alarms.append(rang)
        befores = (State.NORMAL, *(one.state for _, one in steps))
        records.kept_changes += [
            AlarmChange(at_ms=at_ms, alarm=one, before=before)
            for (at_ms, one), before in zip([*steps, (over, rang)], befores, strict=True)
        ]
    for one in records.kept_alarms:
        if one.state is not State.NORMAL:
            rung = replace(one, state=State.UNACKNOWLEDGED, present=True)
            records.kept_changes.append(
                AlarmChange(at_ms=one.since_ms, alarm=rung, before=State.NORMAL)
            )
    records.kept_changes.sort(key=lambda change: change.at_ms)
    return room


def cut_off() -> Nursery:
    """The broker has been gone for half an hour, and one board talks nonsense."""
    room = lived_in()
    records, live = room[:2]
    live.kept_link = LinkView(word="cut off", since_ms=NOW, why="refused")
    live.at_ms = records.now_ms + 29 * MINUTE_MS
    live.not_read = [
        RefusedView(topic="room/b3/a-board-with-a-long-name/ph", count=41, example='{"ph": "6,4"}',
                    why="no number at /ph")
    ]  # fmt: skip
    return room


def of_room(room: Room, *, calm: bool = True) -> Nursery:
    """That room with no brood in it."""
    records, live, deeds = well(room) if calm else usual(room)
    return records, live, deeds, GlassBroods(records, live)


LONG = "Sixty characters of a name that somebody found very telling!"
NAMES = (
    LONG,
    "חדר האחורי ליד הדלת",
    "غرفة الصغار",
    "水槽の左から三番目",
    "Аквариум у окна",
    "𝔎🐟 ﷽",
)


def strangely_named() -> Nursery:
    """Names at the settings' own bounds: sixty characters, right to left, no Latin at all."""
    room = boathouse()
    tanks = tuple(replace(t, name=NAMES[n % len(NAMES)]) for n, t in enumerate(room.tanks))
    long_id = replace(
        tanks[4], id="A5-left-of-the-door-under-the-window-second-from-top",
        place=replace(tanks[4].place, rack="Behind the door, far"),
    )  # fmt: skip
    room = replace(room, tanks=(*tanks[:4], long_id, *tanks[5:]), name=LONG)
    records, live, deeds = usual(room)
    records.entries = [
        JournalEntry(at_ms=NOW - HOUR_MS, tank="A2", deed=Deed.NOTE, detail="הוחלפו מים " + LONG)
    ]
    return records, live, deeds, GlassBroods(records, live)


def many_broods() -> Nursery:
    """Nothing under way, five hundred and twelve behind."""
    records, live, deeds = usual()
    broods = GlassBroods(records, live)
    broods.record(tried(512))
    return records, live, deeds, broods


def _empty_app() -> Starlette:
    class NothingHeard(GlassWorkshop):
        def ways(self) -> Sequence[str]:
            return ()

    nothing = NothingHeard(heard=Listening())
    nothing.contacts.people = []
    return _app(of_room(room_of([])), workshop=nothing)


def just_now() -> Nursery:
    """Ten seconds after a water change."""
    room = nursery()
    room[0].entries = [
        *room[0].entries,
        JournalEntry(at_ms=NOW - 10 * SECOND_MS, tank="A2", deed=Deed.WATER_CHANGE, detail="15 %"),
    ]
    return room


class _Elsewhere:
    """The same pages, asked for by a browser that is not on the daemon's computer."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        await self._app({**scope, "client": ("192.168.1.20", 50_000)}, receive, send)


def _guests_app() -> Starlette:
    app = _app(nursery())
    app.add_middleware(_Elsewhere)
    return app


def _notice_links() -> Sequence[str]:
    raised = usual()[0].alarm(42)
    assert raised is not None
    token = make_token(KEY, raised, by="Keeper", issued_ms=NOW, lives_ms=DAY_MS)
    return (f"/acknowledge/{token}", "/acknowledge/spent")


class GoneError(OSError):
    """What the records raise when their file is gone."""


def _unreadable_app() -> Starlette:
    records, live, deeds, broods = nursery()

    def gone(**_: object) -> None:
        raise GoneError("roewatch.sqlite: cannot be opened")

    records.alarms = gone  # type: ignore[method-assign, assignment]
    return _app((records, live, deeds, broods))


SCENES: dict[str, Scene] = {
    "usual": Scene(
        app=lambda: _app(lived_in()), addresses=(*ANYWHERE, *OF_THE_BOATHOUSE)
    ),
    "flood": Scene(
        app=lambda: _app(flood()),
        addresses=(*ANYWHERE, *(a for a in OF_THE_BOATHOUSE if a != "/alarms/42"), "/alarms/100"),
    ),
    "cut-off": Scene(
        app=lambda: _app(cut_off()), addresses=(*ANYWHERE, *OF_THE_BOATHOUSE)
    ),
    "empty": Scene(app=_empty_app, addresses=ANYWHERE),
    "sixty": Scene(app=lambda: _app(of_room(hall(60))), addresses=ANYWHERE),
    "sixhundred": Scene(
        app=lambda: _app(of_room(hall(600))),
        addresses=("/", "/move", "/records", "/setup", "/sitter"),
    ),
    "strange": Scene(
        app=lambda: _app(strangely_named()),
        addresses=(
            "/", "/tank/A1", "/tank/A2", "/alarms", "/records?tank=A2", "/move?tank=A1", "/setup",
            "/broods/new?tank=A2", "/sitter", "/water", "/find?tank=A",
            f"/tank/{quote(strangely_named()[0].room.tanks[4].id)}",
        ),
    ),
    "many": Scene(
        app=lambda: _app(many_broods()),
        addresses=("/broods", "/broods/compare", "/broods/compare?by=temperature"),
    ),
    "outside": Scene(
        app=lambda: _app(nursery(), ACCESS),
        addresses=("/enter", "/alarms", *_notice_links()),
    ),
    "just-now": Scene(app=lambda: _app(just_now()), addresses=("/records?tank=A2",)),
    "guest": Scene(
        app=_guests_app,
        addresses=(
            "/tank/B2", "/alarms", "/broods/2026-14", "/broods/new", "/records",
            "/water/calibrate?probe=a1-ph", "/setup", "/contacts", "/move",
        ),
    ),
    "unreadable": Scene(app=_unreadable_app, addresses=("/", "/tank/A1", "/alarms")),
}  # fmt: skip


@contextmanager
def scene(name: str) -> Iterator[str]:
    """The address of a scene's room; stopped with the block."""
    with served(SCENES[name].app()) as base:
        yield base


def lit(tab: Browser, base: str, light: str) -> None:
    """From now on pages of `base` are drawn for that light; empty: as the phone wishes."""
    if light:
        tab.ask("Network.setCookie", name="roewatch_theme", value=light, url=base)
    else:
        tab.ask("Network.deleteCookies", name="roewatch_theme", url=base)


def everything() -> Iterator[tuple[str, str]]:
    """Every scene with each of its addresses."""
    return ((name, address) for name, one in SCENES.items() for address in one.addresses)
