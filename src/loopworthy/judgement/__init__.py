"""From a record to a verdict: catalogue, effect rules, evidence state, verdict, outstanding, replay."""
