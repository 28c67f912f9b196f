"""Intake: listens to the broker and turns messages into readings. It judges nothing."""
