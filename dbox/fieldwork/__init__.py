"""What a person does at the box: readings, confidence, levelling."""
