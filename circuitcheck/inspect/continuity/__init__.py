"""The continuity sheet of an unpowered loom, and what was wired wrong from what it read."""
