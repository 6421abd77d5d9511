"""Lists of many boxes as text: the table they stand in, a run over it, and its results."""
