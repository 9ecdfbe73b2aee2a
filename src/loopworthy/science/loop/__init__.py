"""Is the loop tight? Negative and positive pressure tests from a trace or two readings, and the leak behind them.

One module a question: trace, settling, loss, early_loss, pressure_test, leak.
"""
