"""What becomes true of a round; a module belongs to the room of the same name, and `plans` to `placement` too."""
