"""The doors: where people and other programs come in. Nothing here decides; doors ask the desk and show its answer."""
