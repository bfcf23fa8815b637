"""Tries alternatives and ranks them: how thick, how many, where."""
