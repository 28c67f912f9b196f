"""Pictures: the chart that follows a notice's text, drawn from what is kept."""

import logging
import threading
from collections.abc import Callable

from roewatch.alarms.alarm import Alarm
from roewatch.alarms.notice import Notice
from roewatch.outbox.channel import Picture
from roewatch.room.moment import DAY_MS, HOUR_MS
from roewatch.room.quantity import KEPT, Quantity
from roewatch.room.tank import ROOM, Room
from roewatch.views.palette import Theme
from roewatch.views.ports import Records
from roewatch.views.week import Look, Past

log = logging.getLogger(__name__)

_BEFORE_MS = DAY_MS
_AFTER_MS = 6 * HOUR_MS
"""So much of what is to come is drawn, for a forecast to be seen in."""


class Pictures:
    """Draws, when a sender's thread asks. room: as it is judged now; past: see `views.week`.

    It never raises: whatever is wrong with a picture, its text has gone and must not go again.
    """

    def __init__(
        self,
        records: Records,
        room: Callable[[], Room],
        now_ms: Callable[[], int],
        past: Past,
    ) -> None:
        self._records = records
        self._room = room
        self._now_ms = now_ms
        self._look = Look(theme=Theme.DAY, judged=True, past=past)
        # one at a time: nothing else the daemon does takes so much of a small board
        self._drawing = threading.Lock()
        self._said = ""

    def of(self, notice: Notice) -> Picture | None:
        """The chart of the first of its alarms that has one; None when there is none to send."""
        try:
            with self._drawing:
                return self._first(notice)
        except Exception as error:  # noqa: BLE001  # see the class
            if self._said != str(error):  # the same each time, and the text is what matters
                self._said = str(error)
                log.warning("no_picture why=%r", self._said)
            return None

    def _first(self, notice: Notice) -> Picture | None:
        for number in notice.alarms:
            alarm = self._records.alarm(number)
            if alarm is not None and alarm.tank != ROOM and alarm.quantity is not None:
                return self._drawn(alarm, alarm.quantity)
        return None

    def _drawn(self, alarm: Alarm, quantity: Quantity) -> Picture:
        from roewatch.views import chart, week  # noqa: PLC0415  # slow to load on a small board

        now_ms = self._now_ms()
        spec = week.chart_of(
            self._records,
            self._room(),
            alarm.tank,
            quantity,
            from_ms=now_ms - _BEFORE_MS,
            to_ms=now_ms + (_AFTER_MS if alarm.forecast else 0),
            now_ms=now_ms,
            look=self._look,
        )
        return Picture(
            png=chart.png(chart.svg(spec)),
            name=f"{alarm.tank}-{quantity.value}.png",
            words=f"{alarm.tank} {KEPT[quantity].name}, the last day. {chart.summary(spec)}",
        )
