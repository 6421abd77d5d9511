"""Which insert to turn, how far and which way, or how to bed the box again."""
