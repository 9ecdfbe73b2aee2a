"""Requirements, evidence kinds, effect rules, bounds and holds as data, and the loader that checks them."""
