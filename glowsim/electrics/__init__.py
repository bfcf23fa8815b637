"""Amperes and kelvins: power, wiring, pulse and heat of a prop."""
