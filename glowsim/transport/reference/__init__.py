"""The reference solver: Monte Carlo transport of weighted photon packets."""
