"""Words that all rooms share: reading and unit, identity, event envelope, errors, time."""
