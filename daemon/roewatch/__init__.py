"""Roewatch: watches the water of a fish-breeding room and gets an alarm to a person."""
