"""Why does a dead-level box matter? What an instructor shows, and lets a class guess first."""
