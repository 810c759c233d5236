"""The product's settings, with the bare addresses that the benchmarks measure against."""

from shop.settings import *  # noqa: F403

ROOT_URLCONF = "tests.benchmarks.urls"
# Nobody signs in with a password here, and hashing one slowly is not what is measured.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
