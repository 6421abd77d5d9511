"""The guided set-up: events in, the state of the job out; no door, no words."""
