"""The commands: what a person types."""
