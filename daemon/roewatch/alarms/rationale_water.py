"""What can be wrong with the water, each kind with its reason and its first act."""

from roewatch.alarms.rationale_entry import (
    ACID,
    CARBON_DIOXIDE,
    MAINS,
    SLOWLY,
    Rationale,
    Words,
)
from roewatch.room.kind import Kind, Priority
from roewatch.room.measured import warmer
from roewatch.room.moment import DAY_MS, HOUR_MS, MINUTE_MS
from roewatch.room.quantity import Quantity

_BELOW = {
    Quantity.TEMPERATURE: Words(
        cause="The heater is off, unplugged or too weak; the room is cold; or a water change was.",
        consequence="Fish stop feeding and sicken; eggs and larvae die or are deformed.",
        first_act="Check plug, lamp and thermostat of the heater, close the lid, then warm the "
        f"tank with a spare heater at no more than {warmer(1, 'g')} per hour.",
        caution=f"{MAINS} {SLOWLY}",
    ),
    Quantity.PH: Words(
        cause="Too much acid or peat, or the carbonate buffer is used up.",
        consequence="Fish gasp and hide; sperm and eggs fail; the filter's bacteria stop.",
        first_act="Stop dosing, measure pH and carbonate hardness by hand, then change a tenth of "
        "the water for water of the old pH.",
        caution=f"{ACID} {SLOWLY}",
    ),
    Quantity.CONDUCTIVITY: Words(
        cause="Purer water went in than the recipe says, or rain reached the tank.",
        consequence="Salt balance of eggs and fry suffers; the pH loses its hold.",
        first_act="Check the blend in the vat by hand, then mend the next change, not the tank.",
        caution=SLOWLY,
    ),
    Quantity.OXYGEN: Words(
        cause="Air or flow has stopped, the water is warm or overloaded, or food is rotting.",
        consequence="Suffocation, the largest fish and the fry first.",
        first_act="Move the surface now: air stone, outflow, a jug. Then find out what stopped.",
        caution=MAINS,
        priority=Priority.HIGH,
    ),
    Quantity.LEVEL: Words(
        cause="A leak, a siphon left running, or evaporation.",
        consequence="The heater runs dry and cracks; the tank empties onto the floor.",
        first_act="Look for water on the floor, close valves and siphons, unplug the heater if its "
        "mark is above the surface.",
        caution=MAINS,
    ),
    Quantity.FLOW: Words(
        cause="The pump has stopped, or a strainer or hose is blocked.",
        consequence="Oxygen falls and the filter's bacteria die within hours.",
        first_act="Check the pump and its strainer. After a stop of more than two hours rinse the "
        "filter before it flows back to the fish.",
        caution=MAINS,
    ),
}
_BELOW[Quantity.OXYGEN_PERCENT] = _BELOW[Quantity.OXYGEN]
_ABOVE = {
    Quantity.TEMPERATURE: Words(
        cause="The heater does not switch off, the sun is on the tank, or the room is hot.",
        consequence="Oxygen falls while need rises; eggs above their limit hatch deformed.",
        first_act="Unplug the heater, open the lid, shade the tank and move the surface.",
        caution=f"{MAINS} {SLOWLY}",
    ),
    Quantity.PH: Words(
        cause="The dosing or peat has stopped, hard water went in, or plants took the dioxide.",
        consequence="Spawning stops, soft-water eggs fail, and ammonia turns more poisonous.",
        first_act="Check the dosing line and the source water, measure by hand, then change a "
        "tenth for water of the old pH.",
        caution=f"{ACID} {SLOWLY}",
    ),
    Quantity.CONDUCTIVITY: Words(
        cause="Hard water went in, salts were overdosed, or evaporation was topped up with tap.",
        consequence="Egg shells harden and sperm fails; eggs of blackwater fish do not develop.",
        first_act="Check the vat and the membrane by hand, then change a tenth for purer water.",
        caution=SLOWLY,
    ),
    Quantity.LEVEL: Words(
        cause="A refill did not stop, or an overflow is blocked.",
        consequence="Water on the floor near mains, and fish over the rim.",
        first_act="Close the refill, then clear the overflow.",
        caution=MAINS,
    ),
    Quantity.AMMONIA_TOTAL: Words(
        cause="The filter is new or was stopped, food is rotting, or something has died.",
        consequence="Gills burn; the higher the pH the less is needed.",
        first_act="Stop feeding, take out what is dead, change a third for water of the same "
        "temperature and pH.",
        caution=SLOWLY,
        priority=Priority.HIGH,
    ),
}
_ABOVE[Quantity.AMMONIA_FREE] = Words(
    cause="Total ammonia has built up, or pH or warmth rose and made more of it poisonous.",
    consequence="Gills burn within hours; eggs and larvae bear the least.",
    first_act="Stop feeding and whatever raises pH, measure total ammonia by hand, then change a "
    "third for water of the same temperature and of no higher pH.",
    caution=SLOWLY,
    priority=Priority.HIGH,
)
_ABOVE[Quantity.OXYGEN_PERCENT] = Words(
    cause="Plants in bright light, a pump that draws air, or cold water warmed in a closed pipe.",
    consequence="Gas bubbles can form in small fish.",
    first_act="Check the probe, then the pump's suction for air, and move the surface.",
    caution=MAINS,
    priority=Priority.LOW,
    respond_ms=12 * HOUR_MS,
)
_ABOVE[Quantity.DIOXIDE] = Words(
    cause="Too little air moves the surface, something rots, or gas is dosed; or the KH entered in "
    "the settings is no longer the tank's.",
    consequence="Fish gasp although there is oxygen; pH falls with it.",
    first_act="Shut any gas, move the surface, then test KH and enter what it is now.",
    caution=f"{CARBON_DIOXIDE} {MAINS}",
    priority=Priority.HIGH,
)
_LIGHT = Words(
    cause="The lamp or its timer, a lid left over the tank, or the sun.",
    consequence="Spawning and growth are put off; no animal is in danger at once.",
    first_act="Look at the lamp and its timer at the next visit.",
    caution=MAINS,
    priority=Priority.LOW,
    rises=False,
    respond_ms=DAY_MS,
)
_HUMIDITY = Words(
    cause="A lid left open, the room's airing, or the weather.",
    consequence="Dry air harms labyrinth fish and dries tanks; damp air spoils plugs and walls.",
    first_act="Look at lids and airing at the next visit.",
    caution=MAINS,
    priority=Priority.LOW,
    rises=False,
    respond_ms=DAY_MS,
)
for _words in (_BELOW, _ABOVE):
    _words[Quantity.LIGHT] = _LIGHT
    _words[Quantity.HUMIDITY] = _HUMIDITY

WATER: dict[Kind, Rationale] = {
    Kind.BELOW_WINDOW: Rationale(
        title="{quantity} below window",
        cause="Something has taken the value under what the stage bears.",
        consequence="Harm grows with every hour outside, soonest to eggs and fry.",
        first_act="Measure by hand to confirm, then look for what changed last.",
        caution=SLOWLY,
        priority=Priority.MEDIUM,
        respond_ms=2 * HOUR_MS,
        respond_young_ms=30 * MINUTE_MS,
        rises=True,
        latches=True,
        by_quantity=_BELOW,
    ),
    Kind.ABOVE_WINDOW: Rationale(
        title="{quantity} above window",
        cause="Something has taken the value over what the stage bears.",
        consequence="Harm grows with every hour outside, soonest to eggs and fry.",
        first_act="Measure by hand to confirm, then look for what changed last.",
        caution=SLOWLY,
        priority=Priority.MEDIUM,
        respond_ms=2 * HOUR_MS,
        respond_young_ms=30 * MINUTE_MS,
        rises=True,
        latches=True,
        by_quantity=_ABOVE,
    ),
    Kind.FALLING_TOO_FAST: Rationale(
        title="{quantity} falling too fast",
        cause="Heat lost at once, a water change that did not match, or a dose too large.",
        consequence="A fast fall shocks even where the value itself is still good.",
        first_act="Stop what is going in, then hold the value where it is.",
        caution=SLOWLY,
        priority=Priority.MEDIUM,
        respond_ms=HOUR_MS,
        respond_young_ms=20 * MINUTE_MS,
        rises=True,
    ),
    Kind.RISING_TOO_FAST: Rationale(
        title="{quantity} rising too fast",
        cause="A heater that stays on, a water change that did not match, or dosing that stopped.",
        consequence="A fast rise shocks even where the value itself is still good.",
        first_act="Stop what is going in, unplug the heater if it is warmth, then hold the value.",
        caution=f"{MAINS} {SLOWLY}",
        priority=Priority.MEDIUM,
        respond_ms=HOUR_MS,
        respond_young_ms=20 * MINUTE_MS,
        rises=True,
    ),
    Kind.PH_CRASH: Rationale(
        title="pH crashing",
        cause="The carbonate buffer is used up, so every further acid counts in full.",
        consequence="Fish burn and gasp within hours; the filter's bacteria stop.",
        first_act="Stop all dosing and CO2, move the surface, then change a tenth each half hour "
        "for water with carbonate hardness.",
        caution=f"{ACID} {CARBON_DIOXIDE} {SLOWLY}",
        priority=Priority.HIGH,
        respond_ms=HOUR_MS,
        respond_young_ms=30 * MINUTE_MS,
        latches=True,
    ),
    Kind.ACID_OVERDOSE: Rationale(
        title="pH falling: acid overdose",
        cause="A dosing pump or a hand gave far more acid than the buffer bears.",
        consequence="Gills burn within minutes; eggs are lost.",
        first_act="Stop the pump, then change a third at once for untreated water of the same "
        "temperature.",
        caution=ACID,
        priority=Priority.HIGH,
        respond_ms=10 * MINUTE_MS,
        respond_young_ms=10 * MINUTE_MS,
        latches=True,
    ),
    Kind.HARD_WATER: Rationale(
        title="conductivity up: hard water came in",
        cause="Tap or well water in the place of rain or RO, or a membrane let through.",
        consequence="Conditioning is undone and eggs of soft-water fish do not develop.",
        first_act="Check which water the vat holds, then change a tenth at a time for soft water.",
        caution=SLOWLY,
        priority=Priority.MEDIUM,
        respond_ms=6 * HOUR_MS,
        respond_young_ms=2 * HOUR_MS,
        rises=True,
    ),
    Kind.BAD_WATER_CHANGE: Rationale(
        title="{quantity} jumped in a water change",
        cause="New water was far too cold, too warm or of another pH.",
        consequence="Shock: fish lie on their sides, eggs and fry may be lost.",
        first_act="Stop the change, hold the value where it is now, then go back slowly.",
        caution=SLOWLY,
        priority=Priority.HIGH,
        respond_ms=15 * MINUTE_MS,
        respond_young_ms=10 * MINUTE_MS,
        latches=True,
    ),
    Kind.WATER_CHANGE: Rationale(
        title="water change seen",
        cause="A step and a slow way back, as mixing gives.",
        consequence="None; the wider limits of a change were held.",
        first_act="Nothing. Enter it in the journal if you have not.",
        priority=Priority.JOURNAL,
    ),
}
