"""What can go wrong with a brood by what is not done, with its reason and its first act."""

from roewatch.alarms.rationale_entry import MAINS, Rationale
from roewatch.room.kind import Kind, Priority
from roewatch.room.moment import HOUR_MS, MINUTE_MS

BROOD: dict[Kind, Rationale] = {
    Kind.PARENTS_NOT_OUT: Rationale(
        title="parents still with the brood",
        cause="Eggs or swimming young were recorded, and nobody recorded that the parents, or the "
        "one that does not guard, were taken out.",
        consequence="Unguarded eggs and young are eaten within hours, out of sight.",
        first_act="Take out who does not guard, or lift the eggs into another tank; then record "
        "it, or record that no eggs were there.",
        caution=MAINS,
        priority=Priority.HIGH,
        respond_ms=HOUR_MS,
        respond_young_ms=30 * MINUTE_MS,
    ),
}
