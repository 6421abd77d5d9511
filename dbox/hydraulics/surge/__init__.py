"""What a discharge does as time goes on: inflows, tank, pipe, box and trenches, step by step."""
