"""`python -m glowsim`: the same as the `glowsim` command."""

from glowsim.cli.main import main

main()
