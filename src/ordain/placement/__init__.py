"""Words get addresses. In: a `Machine`, a `Program`, the addresses of the last build.

Out: a `model.Placement` and findings.
"""
