"""Breadth first over all that can happen: dead bits, sets of states, edges."""
