"""Water: the chemistry of fresh, soft water, as plain functions with units, ranges and sources."""
