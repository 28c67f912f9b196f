"""Outbox: hands notices to people by their ways, and keeps the receipts."""
