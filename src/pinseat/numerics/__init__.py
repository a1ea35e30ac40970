"""Kernels: disc contact, counted random numbers, Monte Carlo, sensitivity. Pure functions on numpy arrays."""
