"""`python -m glowsim.cli`: the same as the `glowsim` command."""

from glowsim.cli.main import main

main()
