"""The same life of a brood, kept by an invented keeper who only uses the page's forms.

Every act is a form of the page as it was served, its hidden fields included; what the clocks say
and what is to do are read from the page. Scripts never run.
"""

import re
from html import unescape
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from starlette.testclient import TestClient
from tests.journeys.brood_life import TANK, BroodLife
from tests.journeys.served import WebPlace
from tests.views.reader import Forms

from roewatch.room.moment import MINUTE_MS, at_ms_of_iso, moment_of
from roewatch.service.broods import Broods
from roewatch.service.deeds import Hands
from roewatch.service.live import LiveRoom, RoomRecords
from roewatch.views.app import app_of
from roewatch.views.week import Past

BROOD = "2026-1"
PAGE = f"/broods/{BROOD}"
_COUNT_OF = {"spawned": "eggs", "hatched": "hatched", "swimming": "swimming"}


class PageLife(BroodLife):
    """One tank and its keeper at the page; `says` takes the words of the commands."""

    def __init__(self, folder: Path, *, step_ms: int = 10 * MINUTE_MS) -> None:
        super().__init__(folder, step_ms=step_ms)
        setup, watch = self.house.setup, self.house.watch
        records = RoomRecords(setup.storage.path, setup.room)
        self._stack.callback(records.close)
        book = Broods(
            records,
            lambda: watch.room,
            lambda: setup.species,
            write=watch.record,
            remember=watch.remember,
        )
        app = app_of(
            records,
            LiveRoom(watch, self.house.clock),
            Hands(watch),
            settings=WebPlace(),
            past=Past(windows_of=setup.windows_of, named_of=setup.stage_named),
            broods=book,
        )
        self._client = self._stack.enter_context(
            TestClient(app, base_url=WebPlace().base, client=("127.0.0.1", 50_000))
        )

    # -- the page ---------------------------------------------------------------------------

    def get(self, address: str) -> Any:
        """Open a page."""
        return self._asked("GET", address)

    def post(self, address: str, fields: dict[str, str]) -> str:
        """Send a form; returns the page after it."""
        answer = self._asked("POST", address, data=fields)
        said = re.findall(r"<h1>.*?</h1>\s*<p>.*?</p>", answer.text, re.DOTALL)
        assert answer.status_code == 200, said
        self.told.commands += 1
        return str(answer.text)

    def _asked(self, method: str, address: str, **more: Any) -> Any:
        out: list[Any] = []
        raised = self.house.from_elsewhere(
            lambda: out.append(self._client.request(method, address, **more))
        )
        assert raised is None, raised
        return out[0]

    def page(self) -> str:
        """The brood's page as it is now."""
        return str(self.get(PAGE).text)

    def _send(self, action: str, holds: dict[str, str], **typed: str) -> str:
        form = Forms(self.page()).that(f"{PAGE}/{action}", **holds)
        return self.post(f"{PAGE}/{action}", form | typed)

    # -- the keeper -------------------------------------------------------------------------

    def says(self, *words: str, may_fail: bool = False) -> str:
        """What a command would say, by a form of the page."""
        del may_fail
        what, rest = words[0], words[2:]
        at = rest[rest.index("--at") + 1] if "--at" in rest else ""
        if what == "start":
            return self._starts(dict(zip(rest[::2], rest[1::2], strict=True)))
        if what == "stage":
            return self._send("records", {"detail": "", "wall": ""}, act="stage", detail=rest[0])
        if what == "count":
            return self._counts(rest[0], rest[1])
        if what == "done":
            return self._send("records", {"act": "done", "detail": f"{BROOD}/{rest[0]}"})
        if what == "culture":
            return self._send("records", {"act": "culture", "detail": rest[0]})
        if what == "end":
            return self._send("end", {}, outcome=rest[0], detail=rest[2])
        taps = Forms(self.page())
        if any(where.endswith("/records") and f.get("act") == what for where, f in taps.found):
            text = self._send("records", {"act": what})
        else:  # no button any more: from the list of everything
            text = self._send("records", {"detail": "", "wall": ""}, act=what)
        if at:
            self._puts_right(what, at)
        if what in _COUNT_OF and rest:
            self._counts(_COUNT_OF[what], rest[0])
        return text

    def _starts(self, given: dict[str, str]) -> str:
        page = self.get(f"/broods/new?tank={TANK}").text
        on, _, off = given["--light"].partition("-")
        typed = {"light_on": on, "light_off": off, "species": "paracheirodon-innesi"}
        typed["stage"] = "conditioning"
        typed |= {name: given[f"--{name}"] for name in ("parents", "water", "food")}
        return self.post("/broods", Forms(page).that("/broods") | typed)

    def _counts(self, kind: str, text: str) -> str:
        typed = {"count": text.removeprefix("about ")}
        if text.startswith("about "):
            typed["about"] = "on"
        return self._send("records", {"act": "counted", "counted": kind}, **typed)

    def _puts_right(self, what: str, at: str) -> None:
        """It happened earlier than it was seen: correct the newest record, to the minute."""
        zone = ZoneInfo(self.house.setup.room.zone)
        minute_ms = at_ms_of_iso(at)
        page = self.page()
        words = {"hatched": "hatched", "swimming": "swimming free"}[what]
        line = next(one for one in page.split('<li id="r-') if f"</time> {words}" in one)
        holds = {"record": line.split('"')[0]}
        wall = f"{moment_of(minute_ms).astimezone(zone):%Y-%m-%dT%H:%M}"
        self._send("correct", holds, wall=wall)

    # -- what the page says -----------------------------------------------------------------

    def sees(self, *words: str) -> list[dict[str, Any]]:
        """To-dos, or the brood, read off its page."""
        return self._todos() if words[0] == "todo" else [self._shown()]

    def _todos(self) -> list[dict[str, Any]]:
        found = []
        for key, begins, due, late, block in re.findall(
            r'data-key="([^"]+)" data-from="([^"]+)" data-due="([^"]+)" data-late="(\d+)">'
            r"(.*?)</li>",
            self.page(),
            re.DOTALL,
        ):
            flag = "is-flag" in block
            if at_ms_of_iso(begins) > self.now_ms:
                continue
            task = key.split("/")[1]
            found.append(
                {"task": task, "key": key, "due": due, "late_h": int(late) / 3600, "flag": flag}
            )
        return found

    def _shown(self) -> dict[str, Any]:
        page = self.page()
        legs: dict[str, Any] = {}
        for times, block in re.findall(
            r"<li( data-from=[^>]*)?>(<b class=\"letter\">.*?)</li>", page
        ):
            letter = re.findall(r'letter">(.)<', block)[0]
            ends = dict(re.findall(r'data-(\w+)="([^"]+)"', times))
            if ends:
                ends["happened"] = ends["from"] == ends["to"]
            legs[letter] = ends
        proposed = re.search(r'class="propose">.*?: stage (\w+)</button>', page, re.DOTALL)
        moved = re.findall(r'<p class="told">(.*?)</p>', page.split('id="taps-h"')[0])
        tank = self.get(f"/tank/{TANK}").text
        stage = re.search(r"</i>, ([a-z]+)", tank)
        whole = self.get(f"/api/broods/{BROOD}").json()  # what only the summary at the end reads
        records = [r | {"at_ms": at_ms_of_iso(r["time"])} for r in whole["records"]]
        nothing: dict[str, Any] = {"happened": False}
        return {
            "forecast": {
                "hatch": legs.get("H") or nothing,
                "free-swimming": legs.get("≈") or nothing,
            },
            "spawned": "S" in legs,
            "hatched": legs["H"]["from"] if legs.get("H", {}).get("happened") else None,
            "stage": stage[1] if stage else "",
            "proposal": {"stage": proposed[1]} if proposed else None,
            "moved": [unescape(line) for line in moved],
            "records": records,
            "outcome": whole["outcome"],
            "counts": whole["counts"],
        }

    def alarms(self) -> list[dict[str, Any]]:
        """Every alarm there was."""
        return list(self.get("/api/alarms?state=all&limit=1000").json())

    def pictures(self) -> dict[str, bytes]:
        """The report as it is served: as a page and as a PDF."""
        return {kind: self.get(f"{PAGE}/report{kind}").content for kind in ("", ".pdf")}
