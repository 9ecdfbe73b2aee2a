"""Galvanic oxygen sensors: what each should read today, how well that is known, and what the readings can decide.

One module a question: oxygen_check, air, known_gas, agreement, history, stability, factor.
"""
