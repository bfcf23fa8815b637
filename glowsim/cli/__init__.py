"""The command line: one file per command. Parse, call, print."""
