"""Symbols become fields. In: a `Machine` and a `language.tree.MicroFile`. Out: a `model.Program` and findings.

Addresses are not known yet: address fields hold a `Target`.
"""
