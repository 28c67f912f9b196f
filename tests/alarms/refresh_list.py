"""Writes `deploy/alarms.md`, the rationalised list of alarms, anew from what the program knows.

Run `.venv/bin/python -m tests.alarms.refresh_list` when an alarm kind was added or its words were
changed; the test of the list says when.
"""

from pathlib import Path

from roewatch.alarms.rationale import SOON_MS, rationale_table
from roewatch.room.moment import span_text

FILE = Path(__file__).parents[2] / "deploy" / "alarms.md"

_BEFORE = f"""# Every alarm, and what to do first

Each kind of alarm stands here once, with its cause, what it costs to wait, how long there is, and
the first act. The same words stand in the message on the phone and on the alarm page. This file
is written by the program: mend the words in `daemon/roewatch/alarms/rationale_*.py`.

- **Priority** goes by consequence and by the time that is left, never by how far out a value is.
  `high` wakes somebody and is repeated until it is acknowledged; `medium` is told by day; `low`
  waits for the daily digest; `journal` is only written down.
- **rises**: one step up with eggs, larvae or fry in the tank, and one when the forecast leaves the
  window within {span_text(SOON_MS)}. Time alone can bring that about.
- **latches over eggs and fry**: harm is done once, so the alarm stays until somebody has looked
  and resets it.
- **time (eggs, fry)**: how long there is before harm is likely; in brackets with young in the tank.
  These are our own proposals for a fish room with one keeper, not figures from a standard.
- Before hands go into water near mains: unplug, and follow your local code; mains repairs are for
  a licensed person.

"""


def written() -> str:
    """The whole file as it should be."""
    return _BEFORE + rationale_table()


if __name__ == "__main__":
    FILE.write_text(written(), encoding="utf-8")
