"""What people type into the pages of rigs, components and services."""
