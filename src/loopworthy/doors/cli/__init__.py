"""The command line: every capability in plain text or, with --json, for other programs. Start reading in `main`."""
