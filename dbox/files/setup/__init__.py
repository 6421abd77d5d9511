"""A guided set-up as text: questions, typed answers, its log, its results."""
