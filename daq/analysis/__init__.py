"""Plateaus to curves to findings. Arrays in, values with covariance out."""
