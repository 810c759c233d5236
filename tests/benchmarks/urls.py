"""Every address of the product, and the bare ones that are its floor.

The bare ones stand behind the same middleware and the same table of who may do what.
"""

from django.urls import include, path

from shop import access
from tests.benchmarks import bare

bare_addresses = [
    path("hello/", bare.hello, name="hello"),
    path("empty/", bare.empty, name="empty"),
    path("row/<int:counter>/", bare.row, name="row"),
]
access.ACCESS.update({f"bare:{name}": access.SIGNED_IN for name in ("hello", "empty", "row")})

urlpatterns = [
    path("bare/", include((bare_addresses, "bare"))),
    path("", include("shop.urls")),
]
