"""Writes `[judging]` and `[telling]` of the sample room anew from what judge and teller have.

Run `.venv/bin/python tests/service/refresh_sample.py` when a limit was added, renamed or given
another default; the test of the sample says when.
"""

import inspect
import json
import re
from dataclasses import fields
from typing import Any

from roewatch.alarms.telling_settings import TellingSettings
from roewatch.judging.limits import Limits
from roewatch.service.settings.shipped import shipped_config
from roewatch.service.settings.tunable import clock_text, key_of
from roewatch.service.settings.written import span_as_written

_TELLING = {
    "high_wait": "a high alarm waits so long for company, so that one message tells of all",
    "group_wait": "any other",
    "longest_wait": "and no longer than this when more keeps coming",
    "start_hold": "after a start nothing but high is told before every tank was looked at",
    "remind_high": "waits between repeats until acknowledged; the last one for ever",
    "remind_medium": "so many and no more",
    "known_wait": "a window that was left waits so long when its cause was told already",
    "closing_wait": "the end of an alarm waits at most so long for the daily message",
    "escalate_after": "without an acknowledgement of a high alarm the next contact is told",
    "undelivered": "a high alarm no way has taken by then goes to the next contact at once",
    "flood": "after so many messages on one way within the window, what follows is gathered",
    "most": "messages one way gets within the window; the last of them is kept for high alarms",
    "well_at": 'the daily "all is well", by the clock in the room; or "never"',
    "digest_at": 'the daily digest of low alarms; or "never"',
    "token_lives": "how long the link in a notice can acknowledge its alarm",
}

_NEXT = ("How people are told", "Whom to tell")
"""What stands behind a section that is written anew."""


def written(name: str, default: Any) -> str:
    """The default of a dataclass field as the settings write it."""
    if name.endswith("_ms") and isinstance(default, tuple):
        return json.dumps([span_as_written(span_ms) for span_ms in default])
    if name.endswith("_ms"):
        return f'"{span_as_written(default)}"'
    if name.endswith("_min"):
        return f'"{clock_text(default)}"'
    return json.dumps(default)


def judging() -> str:
    """The judge's numbers with the comments that stand beside them in its source."""
    defaults = {limit.name: limit.default for limit in fields(Limits)}
    lines: list[str] = []
    for text in inspect.getsource(Limits).splitlines():
        heading = re.fullmatch(r"    # (.*)", text)
        number = re.match(r"    (\w+): [\w.| ]+ = [^#]*(?:# (.*))?", text)
        if heading:
            lines += ["", f"## {heading[1]}"]
        elif number and number[1] in defaults:
            words = f"  ## {number[2].strip()}" if number[2] else ""
            shown = written(number[1], defaults.pop(number[1]))
            lines.append(f"# {key_of(number[1])} = {shown}{words}")
    assert not defaults, f"not found in the source of Limits: {', '.join(defaults)}"
    return "\n".join(lines).strip()


def telling() -> str:
    """How people are told, one line a number."""
    lines: list[str] = []
    for number in fields(TellingSettings):
        key = key_of(number.name)
        words = f"  ## {_TELLING[key]}" if key in _TELLING else ""
        if number.name not in {"link", "token_key"}:  # from [web], and kept beside the store
            lines.append(f"# {key} = {written(number.name, number.default)}{words}")
    return "\n".join(lines)


def refreshed(text: str) -> str:
    """The sample's text with both sections as they are now."""
    for section, shown in (("judging", judging()), ("telling", telling())):
        heading = f"[{section}]\n"
        begin = text.index(f"\n{heading}") + len(heading) + 1
        end = min(n for words in _NEXT if (n := text.find(f"\n\n## {words}", begin)) > 0)
        text = text[:begin] + shown + text[end:]
    return text


if __name__ == "__main__":
    sample = shipped_config() / "room.toml"
    sample.write_text(refreshed(sample.read_text(encoding="utf-8")), encoding="utf-8")
