"""The heart: the pulse wired to broker, watch, sender, the outside watcher and systemd."""

from collections.abc import Callable

from roewatch.alarms.notice import Receipt
from roewatch.outbox.heartbeat import Heartbeat
from roewatch.service.pulse import Arteries, Pulse
from roewatch.service.settings.sections import HeartbeatSettings
from roewatch.service.systemd import ServiceManager
from roewatch.service.watch import Watch
from roewatch.service.ways import PulseWay

BEATS_A_WATCHDOG = 3
STOP_S = 2.0

OnReceipt = Callable[[Receipt, int | None], None]


class Heart:
    """Beats every `every_s` of the daemon's clock. way: the beat's own way through the sender."""

    def __init__(  # what it is wired to
        self,
        settings: HeartbeatSettings,
        watch: Watch,
        *,
        speed: float = 1.0,
        manager: ServiceManager | None = None,
        outside: Callable[[], None] | None = None,
    ) -> None:
        """outside: asks the watcher's address; by default the one in the settings, if any."""
        self._manager = manager or ServiceManager()
        self._watch = watch
        self.way = PulseWay()
        url = settings.url
        self._outside = Heartbeat(url.get_secret_value()) if url is not None else None
        ask_outside = outside or self._ask_outside
        ping_s = settings.every / 1000
        watchdog_s = self._manager.watchdog_s
        self.every_s = min(ping_s, watchdog_s / BEATS_A_WATCHDOG) if watchdog_s else ping_s
        arteries = Arteries(
            publish=lambda payload: watch.publish(watch.topics.pulse, payload),
            # what comes from the broker is not taken while the clock is wrong: no hang either
            linked=lambda: watch.link.connected and not watch.waits_for_clock,
            inside=watch.beat,
            push=watch.push,
            # hanging is measured in real seconds, however fast the clock runs
            hanging=lambda: self._hanging(max(1.0, self.every_s / speed)),
            outside=ask_outside,
            alive=self._manager.alive,
        )
        self.pulse = Pulse(arteries, ping_every=round(ping_s / self.every_s))
        watch.on_beat = self.pulse.kept
        watch.on_trouble = self._manager.alive

    def _hanging(self, longer_than_s: float) -> list[str]:
        sender = self._watch.sender
        return [] if sender is None else sender.stuck(longer_than_s)

    def _ask_outside(self) -> None:
        if self._outside is not None:
            self._outside.beat()

    def receipts_to(self, on_receipt: OnReceipt) -> OnReceipt:
        """Takes the beats' receipts out of what goes to the watch."""

        def heard(receipt: Receipt, next_due_ms: int | None) -> None:
            if not self.pulse.handed_over(receipt.notice):
                on_receipt(receipt, next_due_ms)

        return heard

    def beat(self, now_ms: int) -> None:
        """Send the next beat on its way."""
        self.pulse.beat(now_ms)

    def ready(self) -> None:
        """The daemon watches."""
        self._manager.ready()

    def stopping(self) -> None:
        """The daemon ends because it was asked to."""
        self._manager.stopping()

    def stop(self) -> None:
        """Ask the outside no more."""
        if self._outside is not None:
            self._outside.stop(STOP_S)
