"""Which rules verdicts are made by."""

from typing import Final

ENGINE: Final = "1"
"""Version of the rules; recorded with every hold that is passed, and part of what a short book is good for."""
