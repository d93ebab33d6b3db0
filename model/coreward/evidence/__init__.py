"""How far to trust the answers: held against print, exact solutions and known ends.

Comparisons with published measurements (`trust`), the solver against exact series and a
second engine (`verification`), forecasts and found events against cooks whose course is
known (`backtest`, `event_scores`), which inputs matter (`sensitivity`), and speed beside
other solvers (`benchmark`). No cook's page depends on it.
"""
