"""Machines with one fault each, and their sound twins: one edit apart."""
