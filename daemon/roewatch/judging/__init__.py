"""Judging: whether to believe a reading and what it says of the tank; a fold over event time."""
