"""The quick solver: first flight, diffusion on a cut-cell grid, cavity exchange."""
