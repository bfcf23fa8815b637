"""glowsim: where an LED-lit prop will glow, burn a hot spot or stay dark."""
