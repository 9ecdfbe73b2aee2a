"""Pressure, depth, air, water vapour and gas: the physics that every other calculation stands on.

One module a subject: units, atmosphere, water_vapour, depth, gas, depth_limit, narcosis, loop_gas, constants.
"""
