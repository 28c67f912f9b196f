"""Service: the only package that knows all others, reads the clock and starts things."""
