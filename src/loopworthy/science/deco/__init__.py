"""Decompression: gas dissolved in sixteen compartments, ascents that keep it within a limit, the way out at any minute.

One module a subject: coefficients, rows, settings, breathing, tissues, segments, tolerance, stops, ascent, schedule,
bailout, counterdiffusion. The model describes one gradient-limited way to think about dissolved gas; it proves nothing
about a diver.
"""
