"""A material learnt from readings of a test piece: readings, what instruments would read, fit."""
