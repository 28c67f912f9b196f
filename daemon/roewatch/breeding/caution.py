"""A caution: what is said wherever a keeper is told to touch what can hurt."""

HANDS = (
    "Before hands or net go in: unplug heater and pump, dry hands at the socket, residual-current "
    "device and drip loops in place. Local electrical rules come first."
)

BRINE = (
    "Salt water creeps along cables: air pump above the water line or on a check valve, drip "
    "loops, residual-current device; unplug before hands go in. Local electrical rules come first."
)
