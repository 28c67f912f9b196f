"""An alarm's life: every kind of message about it has words."""

import pytest

from roewatch.alarms.notice import About, Notice
from roewatch.room.kind import Priority
from roewatch.views.alarm_life import life


@pytest.mark.parametrize("about", About)
def test_whatever_a_message_was_sent_for_the_life_of_its_alarm_can_be_told(about: About) -> None:
    notice = Notice(
        id="n1", about=about, contact="Keeper", way="phone", alarms=(42,), priority=Priority.HIGH,
        title="", body="", made_ms=0, due_ms=0,
    )  # fmt: skip
    (line,) = life([], [(notice, None)])
    assert "Keeper" in line.text
    assert line.text.endswith("not sent yet")
