"""How fast the product is, beside the least the same answer could cost: see `__main__`."""
