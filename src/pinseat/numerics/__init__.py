"""Kernels: disc contact, sampling, covariance. Pure functions on numpy arrays."""
