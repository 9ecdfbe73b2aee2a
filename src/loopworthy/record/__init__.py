"""The record: an append-only history that several devices write and that nobody can alter unseen once it was witnessed.

`store` is the port below; `record` is the door above. What the kinds of event mean is the business of the rooms that
register them.
"""
