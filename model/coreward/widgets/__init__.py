"""Controls bound to questions. No physics is computed here.

Each panel lives in a module of its own, so that a notebook loads only what it shows:
``from coreward.questions.stall.panel import stall_panel``.
"""
