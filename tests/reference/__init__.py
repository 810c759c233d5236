"""Sends worked examples from outside to the product's own functions."""
