"""Oxygen exposure of a dive: shares of published limits for the nervous system, and a dose for the lungs.

One module a subject: segments, nervous_system, lungs. The figures are their publishers' guidance and prove nothing.
"""
