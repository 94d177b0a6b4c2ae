"""Polynomials under maps: least-squares surfaces that levelling takes off and flatness refers to."""
