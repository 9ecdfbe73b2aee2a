"""Lets ``python -m loopworthy`` be the same as the command ``loopworthy``."""

from __future__ import annotations

from loopworthy.doors.cli.main import main

if __name__ == "__main__":
    main()
