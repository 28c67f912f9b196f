"""How people are told: how long to gather, how often to repeat, when to ask somebody else."""

from dataclasses import dataclass

from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS


@dataclass(frozen=True, slots=True, kw_only=True)
class TellingSettings:
    """Spans are milliseconds; minutes of the day are the room's wall clock, None for never.

    high_wait_ms, group_wait_ms: how long a high, and any other, alarm waits for company.
    longest_wait_ms: the bound when more keeps coming. start_hold_ms: after a start nothing but
    high is told before every tank has been looked at once. remind_high_ms: the waits between
    repeats until acknowledged, the last one for ever; remind_medium_ms: so many and no more.
    known_wait_ms: how long a medium alarm of the window waits for other news, a repeat among it,
    when what brought it about in the same tank and quantity has been told already.
    closing_wait_ms: the longest the end of an alarm waits for the daily message, or for the end of
    what else has befallen its tank; a high one nobody had acknowledged is told as over at once.
    escalate_after_ms: without an acknowledgement of a high alarm, the next contact is told.
    undelivered_ms: a high alarm no way has taken by then goes to the next contact at once.
    flood: after so many raises on one way within window_ms, what follows gathers for
    longest_wait_ms. most: messages one way gets within window_ms; the last of them is kept for
    high alarms, and what finds no room waits and goes as one.
    link: address of the pages, without a closing slash. token_key: secret for acknowledge links,
    empty for plain links; token_lives_ms: how long such a link is good.
    """

    high_wait_ms: int = 3 * SECOND_MS
    group_wait_ms: int = 20 * SECOND_MS
    longest_wait_ms: int = 90 * SECOND_MS
    start_hold_ms: int = 60 * SECOND_MS
    remind_high_ms: tuple[int, ...] = (
        10 * MINUTE_MS,
        10 * MINUTE_MS,
        20 * MINUTE_MS,
        30 * MINUTE_MS,
        HOUR_MS,
    )
    remind_medium_ms: tuple[int, ...] = (4 * HOUR_MS, 8 * HOUR_MS)
    known_wait_ms: int = 4 * HOUR_MS
    closing_wait_ms: int = DAY_MS
    escalate_after_ms: int = 10 * MINUTE_MS
    undelivered_ms: int = 5 * MINUTE_MS
    flood: int = 5
    most: int = 3
    window_ms: int = 10 * MINUTE_MS
    well_at_min: int | None = 8 * 60
    digest_at_min: int | None = 8 * 60
    link: str = ""
    token_key: bytes = b""
    token_lives_ms: int = DAY_MS

    def __post_init__(self) -> None:
        if not self.remind_high_ms or min(*self.remind_high_ms, 1) <= 0:
            raise ValueError("remind_high_ms: a high alarm needs a wait of more than nothing")
        if self.most < 2:
            raise ValueError("most: with fewer than 2 messages none can be kept for high alarms")

    @property
    def is_daily(self) -> bool:
        """Whether there is a daily message at all."""
        return self.well_at_min is not None or self.digest_at_min is not None
