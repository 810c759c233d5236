"""The product's settings, with the bare addresses that the benchmarks measure against."""

from shop.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.urls"
