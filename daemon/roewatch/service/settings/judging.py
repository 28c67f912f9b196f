"""`[judging]` and `[telling]`: how the judge judges and how people are told, number by number."""

from roewatch.alarms.telling_settings import TellingSettings
from roewatch.judging.limits import Limits
from roewatch.service.settings.tunable import section_of, values_of
from roewatch.service.settings.written import Section

JudgingSettings = section_of("JudgingSettings", Limits)
TellingSection = section_of(
    "TellingSection", TellingSettings, apart=frozenset({"link", "token_key"})
)


def limits_of(judging: Section) -> Limits:
    """The judge's limits as a checked `[judging]` sets them."""
    return Limits(**values_of(judging, Limits))


def telling_of(telling: Section, link: str) -> TellingSettings:
    """How people are told as a checked `[telling]` sets it. link: the pages' address."""
    return TellingSettings(**values_of(telling, TellingSettings), link=link)
