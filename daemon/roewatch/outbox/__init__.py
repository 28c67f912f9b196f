"""The outbox: hands notices over, keeps trying, and says what became of each attempt."""
