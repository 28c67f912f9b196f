"""Rooms of simulated tanks, with real physics and faults on command, that speak MQTT."""
