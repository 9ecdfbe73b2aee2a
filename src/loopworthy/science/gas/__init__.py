"""Gas in cylinders and in the loop: what a fill holds, how it is made, and how long it lasts.

One module a subject: real_gas, content, blending, sources, continuous, analysis, diluent, budgets, weight, loop_oxygen.
"""
