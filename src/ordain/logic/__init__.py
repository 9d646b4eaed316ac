"""Expressions at work: plain evaluation, partial evaluation, circuits, decision diagrams.

In: nodes and what is known of their leaves. Out: numbers or smaller nodes. Relies on machine.expression alone.
"""
