"""Pages of stock: find what is asked for, call one service, draw."""
