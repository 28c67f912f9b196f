"""`roewatch brood` acts: one command records one thing, at once, through the running daemon."""

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from roewatch.breeding.brood import Brood, brood_of
from roewatch.breeding.count import Counted, count_of
from roewatch.breeding.record import BroodAct, BroodRecord, Outcome, written
from roewatch.room.stage import Stage
from roewatch.service.cli.brood_given import At, Desk, Record, Which, desk, standing
from roewatch.service.cli.options import By, Json, RoomFile, json_line, person

acts = typer.Typer()

HowMany = Annotated[
    str | None,
    typer.Argument(help="How many: 60, `about 60`, or 50-70.", show_default=False),
]


@acts.command("spawned")
def spawned(
    which: Which, count: HowMany = None, at: At = None, room: RoomFile = None,
    by: By = None, json: Json = False,
) -> None:  # fmt: skip
    """Eggs were seen: everything later hangs on this time. The tank goes into `eggs`."""
    _counted(room, which, BroodAct.SPAWNED, count, at, by, json)


@acts.command("hatched")
def hatched(
    which: Which, count: HowMany = None, at: At = None, room: RoomFile = None,
    by: By = None, json: Json = False,
) -> None:  # fmt: skip
    """They hatched. The tank goes into `larvae`: do not feed."""
    _counted(room, which, BroodAct.HATCHED, count, at, by, json)


@acts.command("swimming")
def swimming(
    which: Which, count: HowMany = None, at: At = None, room: RoomFile = None,
    by: By = None, json: Json = False,
) -> None:  # fmt: skip
    """They swim freely. The tank goes into `fry`: feed the same day."""
    _counted(room, which, BroodAct.SWIMMING, count, at, by, json)


@acts.command("count")
def count_them(
    which: Which,
    kind: Annotated[Counted, typer.Argument(help="What was counted.")],
    count: Annotated[str, typer.Argument(help="How many: 60, `about 60`, or 50-70.")],
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Record a count; white eggs taken out add up, of all others the latest holds."""
    record: dict[str, Any] = {"counted": kind.value, "count": _count(count)}
    _record(room, which, BroodAct.COUNTED, at, by, json, **record)


@acts.command("parents-out")
def parents_out(
    which: Which,
    who: Annotated[
        str, typer.Option("--who", help="pair, male or female.", show_default=True)
    ] = "pair",
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """The parents were taken out, or the one of them that does not guard."""
    if who not in {"pair", "male", "female"}:
        raise typer.BadParameter(f"{who!r} is nobody; write pair, male or female")
    _record(room, which, BroodAct.PARENTS_OUT, at, by, json, fields={"who": who})


@acts.command("dark")
def dark(
    which: Which, at: At = None, room: RoomFile = None, by: By = None, json: Json = False
) -> None:
    """The eggs were covered."""
    _record(room, which, BroodAct.DARK, at, by, json)


@acts.command("light")
def light(
    which: Which, at: At = None, room: RoomFile = None, by: By = None, json: Json = False
) -> None:
    """The cover came off."""
    _record(room, which, BroodAct.LIGHT, at, by, json)


@acts.command("culture")
def culture(
    which: Which,
    what: Annotated[
        str, typer.Argument(help="What was started, as `brood todo` names it: artemia-first, …")
    ],
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """A live food was started for this brood."""
    _record(room, which, BroodAct.CULTURE, at, by, json, detail=what)


@acts.command("fed")
def fed(
    which: Which,
    what: Annotated[str, typer.Argument(help="What they were given.")] = "",
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """The young were fed."""
    _record(room, which, BroodAct.FED, at, by, json, detail=what)


@acts.command("moved")
def moved(
    which: Which,
    tank: Annotated[str, typer.Argument(help="The tank they were moved to.")],
    out_of: Annotated[
        str | None,
        typer.Option(
            "--from",
            help="The tanks left, with commas; else all. `none`: some of them stay behind.",
            show_default=False,
        ),
    ] = None,
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """They were moved to another tank, which goes into the brood's stage."""
    left = {} if out_of is None else {"from": "" if out_of == "none" else out_of}
    _record(room, which, BroodAct.MOVED, at, by, json, tank=tank, fields=left)


@acts.command("stage")
def stage(
    which: Which,
    new: Annotated[Stage, typer.Argument(help="The stage its tanks go into.")],
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Move the brood's tanks to another stage, now or dated; windows and rates follow.

    A tank that no open brood is in is moved as well.
    """
    with desk(room) as here:
        if here.is_free_tank(which):
            here.move(which, new, here.moment(at))
            print(f"{which} is now in {new}; its windows follow.", file=sys.stderr)
            return
        brood = here.brood(which)
        said = _said(here, brood, BroodAct.STAGE, at, by)
        _send(here, brood, json, said | {"detail": new.value})


@acts.command("note")
def note(
    which: Which,
    text: Annotated[str, typer.Argument(help="What there is to say.")],
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Write a note."""
    if not text.strip():
        raise typer.BadParameter("an empty note says nothing; write a word or two")
    _record(room, which, BroodAct.NOTE, at, by, json, detail=text.strip())


@acts.command("done")
def done(
    which: Which,
    todo: Annotated[str, typer.Argument(help="The to-do's key, as `brood todo` writes it.")],
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Tick a to-do. What says more than a tick has a command of its own: hatched, culture, …"""
    with desk(room) as here:
        brood = here.brood(which)
        asked = here.book.outlook(brood, here.now_ms).todos
        key = todo if todo.startswith(f"{brood.id}/") else f"{brood.id}/{todo}"
        if key not in {one.key for one in asked}:
            known = ", ".join(one.key.partition("/")[2] for one in asked) or "none"
            raise typer.BadParameter(f"no open to-do {todo!r}; there are: {known}")
        _send(here, brood, json, _said(here, brood, BroodAct.DONE, at, by) | {"detail": key})


@acts.command("end")
def end(
    which: Which,
    outcome: Annotated[Outcome, typer.Argument(help="What happened.")],
    to: Annotated[str, typer.Option("--to", help="Lost to what, or a word about it.")] = "",
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """The brood is over: reared, lost, given up, or unknown. Counts may still follow."""
    fields = {"outcome": outcome.value}
    _record(room, which, BroodAct.ENDED, at, by, json, detail=to, fields=fields)


@acts.command("undo")
def undo(
    which: Which,
    record: Annotated[
        str, typer.Argument(help="The record's id; else the last recorded.", show_default=False)
    ] = "",
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Take a record back. Everything is again as it was before; what was said is kept."""
    with desk(room) as here:
        brood = here.brood(which)
        last = standing(brood)
        if not record and not last:
            raise typer.BadParameter(f"brood {brood.id} has nothing to take back")
        what = here.record(brood, record) if record else last[0]
        if what.id not in {r.id for r in last}:
            raise typer.BadParameter(f"record {what.id[:8]} does not stand; `redo` brings it back")
        _withdraw(here, brood, what, by, json)
        if not json:
            _say_undone(here, what, "taken back")


@acts.command("redo")
def redo(
    which: Which, record: Record, room: RoomFile = None, by: By = None, json: Json = False
) -> None:
    """Bring back a record that was taken back."""
    with desk(room) as here:
        brood = here.brood(which)
        what = here.record(brood, record)
        by_what = {old.record.id: old.by for old in brood.superseded}.get(what.id)
        if by_what is None or by_what.act is not BroodAct.WITHDRAWN:
            raise typer.BadParameter(f"record {what.id[:8]} was not taken back")
        _withdraw(here, brood, by_what, by, json)
        if not json:
            _say_undone(here, what, "brought back")


@acts.command("correct")
def correct(  # noqa: PLR0913, PLR0917  # options, by name
    which: Which,
    record: Record,
    count: Annotated[str | None, typer.Option("--count", help="How many it was.")] = None,
    text: Annotated[str | None, typer.Option("--text", help="What it should say.")] = None,
    tank: Annotated[str | None, typer.Option("--tank", help="Which tank it was.")] = None,
    at: At = None,
    room: RoomFile = None,
    by: By = None,
    json: Json = False,
) -> None:
    """Put a record right, for ever possible; what it said before is kept and shown."""
    with desk(room) as here:
        brood = here.brood(which)
        before = here.record(brood, record)
        if before.id not in {r.id for r in brood.records}:
            raise typer.BadParameter(f"record {before.id[:8]} does not stand; correct the later")
        changes: dict[str, Any] = {}
        if at is not None:
            changes["at_ms"] = here.moment(at)
        if count is not None:
            changes["count"] = _count(count)
        if text is not None:
            changes["detail"] = text
        if tank is not None:
            changes["tank"] = tank
        if not changes:
            raise typer.BadParameter("say what is different: --at, --count, --text or --tank")
        same = {k: v for k, v in written(before).items() if k not in {"id", "made_ms"}}
        right = same | changes | {"by": person(by), "replaces": before.id}
        _send(here, brood, json, right)


def _counted(
    room: Path | None,
    which: str,
    act: BroodAct,
    count: str | None,
    at: str | None,
    by: str | None,
    json: bool,
) -> None:
    more = {} if count is None else {"count": _count(count)}
    _record(room, which, act, at, by, json, **more)


def _count(text: str) -> str:
    try:
        return count_of(text).text
    except ValueError as unreadable:
        raise typer.BadParameter(str(unreadable)) from None


def _record(
    room: Path | None,
    which: str,
    act: BroodAct,
    at: str | None,
    by: str | None,
    json: bool,
    **more: Any,
) -> None:
    with desk(room) as here:
        brood = here.brood(which)
        _send(here, brood, json, _said(here, brood, act, at, by) | more)


def _said(
    here: Desk, brood: Brood, act: BroodAct, at: str | None, by: str | None
) -> dict[str, Any]:
    said: dict[str, Any] = {"brood": brood.id, "act": act.value, "by": person(by)}
    at_ms = here.moment(at)
    return said if at_ms is None else said | {"at_ms": at_ms}


def _withdraw(here: Desk, brood: Brood, what: BroodRecord, by: str | None, json: bool) -> None:
    said = _said(here, brood, BroodAct.WITHDRAWN, None, by)
    _send(here, brood, json, said | {"replaces": what.id})


def _say_undone(here: Desk, what: BroodRecord, done: str) -> None:
    from roewatch.service.cli.brood_said import said_line  # noqa: PLC0415

    print(f"{what.brood}: {done}: {said_line(what, here.zone, here.now_ms)}")


def _send(here: Desk, before: Brood, json: bool, said: dict[str, Any]) -> None:
    kept = here.send(said)
    if json:
        for record in kept:
            json_line(written(record))
        return
    tell(here, before, kept)


def tell(here: Desk, before: Brood | None, kept: list[BroodRecord]) -> None:
    """Say what was recorded, and which stage follows from it."""
    from roewatch.service.cli.brood_said import said_line  # noqa: PLC0415  # half a second

    for record in kept:
        if record.act is not BroodAct.WITHDRAWN:
            print(f"{record.brood}: {said_line(record, here.zone, here.now_ms)}")
    after = brood_of(kept[0].brood, here.book.records(kept[0].brood))
    if after.stage is not None and (before is None or after.stage is not before.stage):
        tanks = ", ".join(after.last_tanks)
        print(f"{tanks} is now in {after.stage}; its windows follow.", file=sys.stderr)
