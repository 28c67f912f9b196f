"""Breeding: stages, plans, broods, clocks and live food."""
