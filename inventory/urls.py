"""Addresses of the stock pages. Each has its row in shop/access.py."""

from django.urls import path

from inventory.views import (
    buying,
    cores,
    counting,
    deliveries,
    keeping,
    kits,
    lots,
    moving,
    orders,
    parts,
    places,
    suppliers,
)

app_name = "inventory"

urlpatterns = [
    path("parts/", parts.parts, name="parts"),
    path("parts/new/", parts.new_part, name="new_part"),
    path("parts/<str:number>/", parts.part, name="part"),
    path("parts/<str:number>/change/", parts.change, name="change_part"),
    path("parts/<str:number>/policy/", parts.policy, name="policy"),
    path("parts/<str:number>/kit/", kits.kit_lines, name="kit_lines"),
    path("parts/<str:number>/alternates/", kits.alternates, name="kit_alternates"),
    path("parts/<str:number>/make/", kits.kits, name="kits"),
    path("parts/<str:number>/robbed/", kits.found_robbed, name="rob_kit"),
    path("robbed/<int:pk>/", kits.robbed_kit, name="robbed_kit"),
    path("parts/<str:number>/receive/", moving.receive, name="receive"),
    path("parts/<str:number>/move/", moving.transfer, name="transfer"),
    path("parts/<str:number>/adjust/", moving.adjust, name="adjust"),
    path("movements/<int:pk>/reverse/", moving.reverse_movement, name="reverse_movement"),
    path("movements/<int:pk>/invoice/", lots.invoice, name="invoice"),
    path("lots/<int:pk>/", lots.lot, name="lot"),
    path("lots/<int:pk>/extend/", lots.extend, name="extend_lot"),
    path("buying/", buying.buying, name="buying"),
    path("orders/", orders.orders, name="orders"),
    path("orders/<int:order>/", orders.order, name="order"),
    path("orders/<int:order>/receive/", deliveries.receive_order, name="receive_order"),
    path("suppliers/", suppliers.suppliers, name="suppliers"),
    path("suppliers/new/", suppliers.new_supplier, name="new_supplier"),
    path("suppliers/parts/new/", suppliers.new_supplier_part, name="new_supplier_part"),
    path("suppliers/<int:pk>/", suppliers.supplier, name="supplier"),
    path("suppliers/<int:pk>/change/", suppliers.change, name="change_supplier"),
    path("suppliers/<int:pk>/parts/<str:number>/", suppliers.supplier_part, name="supplier_part"),
    path("cores/", cores.cores, name="cores"),
    path("counts/", counting.counts, name="counts"),
    path("counts/<int:number>/", counting.count, name="count"),
    path("counts/<int:number>/settle/", counting.settle_count, name="settle_count"),
    path("use-by/", keeping.keeping, name="keeping"),
    path("locations/", places.locations, name="locations"),
    path("locations/new/", places.new_location, name="new_location"),
    path("locations/<str:code>/", places.location, name="location"),
]
