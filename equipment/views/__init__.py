"""The pages of rigs, components and services."""
