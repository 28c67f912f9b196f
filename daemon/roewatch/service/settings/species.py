"""Species: the shipped sheets and the keeper's own, read, checked and laid over each other.

A keeper's own sheet of the same name overrides the shipped one number by number. A number without
a source is refused: a guess that looks like knowledge is worse than a gap.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from roewatch.room.quantity import Quantity
from roewatch.room.species import SpeciesSheet
from roewatch.room.stage import Stage
from roewatch.room.window import Basis, RateLimit, Window
from roewatch.service.settings.document import (
    Document,
    SettingsFault,
    did_you_mean,
    read_document,
)
from roewatch.service.settings.lines import KeyPath
from roewatch.service.settings.misfit import fitted
from roewatch.service.settings.rearing import (
    FoodEntry,
    HatchEntry,
    StagingEntry,
    food_span,
    hatch_fact,
    spawning_of,
    staging_formula,
)
from roewatch.service.settings.sheet import (
    Band,
    ChosenBand,
    ChosenStep,
    FactEntry,
    OtherBand,
    Step,
    WrittenSheet,
)
from roewatch.service.settings.sourced import Sourced


@dataclass(slots=True, kw_only=True)
class Sheets:
    """All sheets by id, and what is wrong in any of them. counts: numbers by basis, by sheet."""

    by_id: dict[str, SpeciesSheet] = field(default_factory=dict)
    faults: list[SettingsFault] = field(default_factory=list)
    counts: dict[str, Counter[Basis]] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    files: list[Path] = field(default_factory=list)

    @property
    def known(self) -> frozenset[str]:
        """Ids a tank may name; one whose sheet has a fault of its own is not faulted twice."""
        return frozenset(self.by_id) | self.refused


def read_sheets(*folders: Path) -> Sheets:
    """Every `*.toml` in `folders`; a later folder's sheet lies over an earlier one's."""
    sheets = Sheets()
    seen: set[Path] = set()
    documents: dict[str, Document] = {}
    for folder in folders:
        if folder.resolve() in seen or not folder.is_dir():
            continue
        seen.add(folder.resolve())
        for path in sorted(folder.glob("*.toml")):
            document = read_document(path)
            sheets.files.append(path)
            documents[path.stem] = document
            sheet = sheet_of(document, path.stem, sheets.by_id.get(path.stem))
            sheets.faults += document.faults
            if sheet is None:
                sheets.refused.add(path.stem)
            else:
                sheets.by_id[path.stem] = sheet
                # the keeper's own numbers besides the shipped ones they lie over
                sheets.counts[path.stem] = sheets.counts.get(path.stem, Counter()) + sources_of(
                    document
                )
    _check_relatives(sheets, documents)
    return sheets


def _check_relatives(sheets: Sheets, documents: Mapping[str, Document]) -> None:
    for sheet_id, sheet in sheets.by_id.items():
        if sheet.like and sheet.like not in sheets.known:
            document = documents[sheet_id]
            document.fault(
                ("relative", "like"),
                f"{sheet.like!r} is no species sheet",
                f"{did_you_mean(sheet.like, sorted(sheets.known)).capitalize()}",
            )
            sheets.faults.append(document.faults[-1])


def sheet_of(
    document: Document, sheet_id: str, under: SpeciesSheet | None = None
) -> SpeciesSheet | None:
    """The sheet `document` describes, laid over `under`; None when it has faults, noted in it."""
    if document.faults:
        return None
    written = fitted(WrittenSheet, document.table, document, ())
    if written is None:
        return None
    if not written.latin and under is None:
        document.fault(("latin",), "no latin name", 'Add latin = "Boraras brigittae", say')
    _check_sources(document, written)
    _check_orders(document, written)
    if document.faults:
        return None
    return _assembled(written, sheet_id, under)


def sources_of(document: Document) -> Counter[Basis]:
    """How many numbers of a faultless sheet stand on each basis; those not chosen count too."""
    counts: Counter[Basis] = Counter()
    written = WrittenSheet.model_validate(document.table)
    for _, entry in _sourced(written):
        counts[Basis(entry.basis)] += _numbers(entry)
    return counts


def _numbers(entry: Sourced) -> int:
    if isinstance(entry, Band):
        about = isinstance(entry, OtherBand) and entry.about is not None
        return (entry.low is not None) + (entry.high is not None) + about
    if isinstance(entry, StagingEntry):
        return 5
    return 2 if isinstance(entry, Step | HatchEntry | FoodEntry) else 0


def _sourced(written: WrittenSheet) -> Iterator[tuple[KeyPath, Sourced]]:
    """Everything that must carry a source, with its path."""
    for stage in Stage:
        bands, steps = getattr(written.windows, stage), getattr(written.rates, stage)
        for quantity in Quantity:
            band: ChosenBand | None = getattr(bands, quantity)
            chosen: list[ChosenStep] = getattr(steps, quantity)
            if band is not None:
                path: KeyPath = ("windows", stage.value, quantity.value)
                yield path, band
                yield from (((*path, "others", n), other) for n, other in enumerate(band.others))
            for number, step in enumerate(chosen):
                path = ("rates", stage.value, quantity.value, number)
                yield path, step
                yield from (((*path, "others", n), other) for n, other in enumerate(step.others))
    yield from ((("hatch", n), entry) for n, entry in enumerate(written.hatch))
    yield from ((("food", n), entry) for n, entry in enumerate(written.food))
    for key in ("staging", "relative", "spawning"):
        entry: Sourced | None = getattr(written, key)
        if entry is not None:
            yield (key,), entry
    yield from ((("facts", key), entry) for key, entry in written.facts.items())


def _check_sources(document: Document, written: WrittenSheet) -> None:
    for key, title in written.sources.items():
        if not title.strip():
            document.fault(("sources", key), "a source without a title", "Write its title and year")
    for path, entry in _sourced(written):
        for key in entry.source:
            if key not in written.sources:
                document.fault(
                    (*path, "source"),
                    f"source {key!r} is not listed under [sources]",
                    f'Add {key} = "title, year" under [sources], or name one that is there',
                )


def _check_orders(document: Document, written: WrittenSheet) -> None:
    for path, entry in _sourced(written):
        if isinstance(entry, OtherBand) and entry.about is not None:
            if entry.low is not None or entry.high is not None:
                document.fault(path, "about beside low or high", "Keep the band or the one figure")
        elif isinstance(entry, Band):
            try:
                Window(low=entry.low, high=entry.high)
            except ValueError as error:
                what, _, cure = str(error).partition("; ")
                document.fault(path, what, cure.capitalize() or "Write low = or high = or both")
        if isinstance(entry, HatchEntry) and entry.from_h > entry.to_h:
            document.fault(
                path,
                f"from_h {entry.from_h:g} is after to_h {entry.to_h:g}",
                "Swap the two numbers",
            )
    for stage in Stage:
        other = getattr(written.same_as, stage, None)
        if other is not None and getattr(written.same_as, other, None) is not None:
            document.fault(
                ("same_as", stage.value),
                f"{stage} is the same as {other}, which is the same as another stage again",
                "Name the stage that has windows of its own",
            )


def _assembled(written: WrittenSheet, sheet_id: str, under: SpeciesSheet | None) -> SpeciesSheet:
    windows = {stage: _windows(written, stage) for stage in Stage}
    rates = {stage: _rates(written, stage) for stage in Stage}
    for stage in Stage:
        other = getattr(written.same_as, stage, None)
        if other is not None:
            windows[stage] = {**windows[other], **windows[stage]}
            rates[stage] = {**rates[other], **rates[stage]}
    titles = partial(_titles, written)
    hatch = tuple(hatch_fact(entry, titles) for entry in written.hatch)
    foods = tuple(food_span(entry, titles) for entry in written.food)
    facts = {key: _fact(written, entry) for key, entry in written.facts.items()}
    if under is None:
        under = SpeciesSheet(id=sheet_id, latin="", windows={}, rates={})
    return SpeciesSheet(
        id=sheet_id,
        latin=written.latin or under.latin,
        windows={s: {**under.windows.get(s, {}), **windows[s]} for s in Stage},
        rates={s: {**under.rates.get(s, {}), **rates[s]} for s in Stage},
        hatch=hatch or under.hatch,
        staging=staging_formula(written.staging) if written.staging else under.staging,
        like=written.relative.like if written.relative else under.like,
        spawning=spawning_of(written.spawning, titles) if written.spawning else under.spawning,
        foods=foods or under.foods,
        light_shy_eggs=(
            written.light_shy_eggs
            if "light_shy_eggs" in written.model_fields_set
            else under.light_shy_eggs
        ),
        first_food=written.first_food or under.first_food,
        facts={**under.facts, **facts},
    )


def _windows(written: WrittenSheet, stage: Stage) -> dict[Quantity, Window]:
    bands = getattr(written.windows, stage)
    found: dict[Quantity, Window] = {}
    for quantity in Quantity:
        band: ChosenBand | None = getattr(bands, quantity)
        if band is not None:
            others = [f"{_band_text(other)} ({_titles(written, other)})" for other in band.others]
            found[quantity] = Window(
                low=band.low,
                high=band.high,
                basis=Basis(band.basis),
                source=_with_others(_titles(written, band), band.why, others),
            )
    return found


def _rates(written: WrittenSheet, stage: Stage) -> dict[Quantity, tuple[RateLimit, ...]]:
    steps = getattr(written.rates, stage)
    found: dict[Quantity, tuple[RateLimit, ...]] = {}
    for quantity in Quantity:
        chosen: list[ChosenStep] = getattr(steps, quantity)
        if chosen:
            found[quantity] = tuple(_limit(written, step) for step in chosen)
    return found


def _limit(written: WrittenSheet, step: ChosenStep) -> RateLimit:
    others = [
        f"up {other.rise:g}, down {other.fall:g} ({_titles(written, other)})"
        for other in step.others
    ]
    return RateLimit(
        span_ms=step.span,
        rise=step.rise,
        fall=step.fall,
        basis=Basis(step.basis),
        source=_with_others(_titles(written, step), step.why, others),
    )


def _fact(written: WrittenSheet, entry: FactEntry) -> str:
    return f"{entry.says} ({_titles(written, entry)})"


def _titles(written: WrittenSheet, entry: Sourced) -> str:
    return "; ".join(written.sources[key] for key in entry.source)


def _band_text(band: OtherBand) -> str:
    if band.about is not None:
        return f"about {band.about:g}"
    if band.low is None or band.high is None:
        return f"at least {band.low:g}" if band.low is not None else f"at most {band.high:g}"
    return f"{band.low:g}-{band.high:g}"


def _with_others(titles: str, why: str, others: list[str]) -> str:
    """The source as the page shows it: where sources disagree, the others and why not they."""
    parts = [titles]
    if why:
        parts.append(f"chosen: {why}")
    if others:
        parts.append(f"others say {'; '.join(others)}")
    return ". ".join(parts)


def counted(counts: Mapping[str, Counter[Basis]]) -> list[dict[str, str | int]]:
    """One row a sheet: how many of its numbers are published, common practice, and so on."""
    return [
        {"species": sheet_id, **{basis.value: count[basis] for basis in Basis}}
        for sheet_id, count in sorted(counts.items())
    ]
