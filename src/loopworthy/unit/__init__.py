"""What a rebreather is made of: configuration, things, fittings, changes."""
