"""Alarms: a finding that persists, its life cycle after ISA-18.2, and the notices it causes."""
