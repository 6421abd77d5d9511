"""What was seen, as text: its tables, questions and words, and the diagnosis made from it."""
