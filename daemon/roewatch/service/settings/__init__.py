"""Settings: what the keeper wrote about the room, read and checked whole, never mended quietly."""
