"""What water does: openings, the split among them, and the pipes around the box."""
