"""Numbers only: what physics, oxygen sensors and a closed loop ought to do.

Nothing here knows a unit, a person, a step, a clock, a file or a network. Plain floats go in with their trade unit in
the name, floats and small frozen dataclasses come out; what they mean for a verdict is said in ``judgement``.
"""
