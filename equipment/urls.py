"""Addresses of equipment. Each one also has its row in shop/access.py."""

from django.urls import path

from equipment.views import (
    bookings,
    components,
    exchange,
    findings,
    photos,
    readings,
    rigs,
    rounds,
    services,
)

app_name = "equipment"
urlpatterns = [
    path("rigs/new/", rigs.new_rig, name="new_rig"),
    path("rigs/<int:number>/setup/", rigs.setup, name="rig_setup"),
    path("rigs/<int:number>/change/", rigs.change, name="change_rig"),
    path("rigs/<int:number>/positions/new/", rigs.new_position, name="new_position"),
    path("rigs/<int:number>/counters/new/", rigs.new_counter, name="new_counter"),
    path("rigs/<int:number>/exchange/<int:pk>/", exchange.exchange, name="exchange"),
    path("rigs/<int:number>/readings/", readings.readings, name="readings"),
    path("rigs/<int:number>/round/", rounds.round_, name="round"),
    path("rigs/<int:number>/found/", findings.new_finding, name="new_finding"),
    path("rigs/<int:number>/bookings/", bookings.bookings, name="bookings"),
    path("bookings/<int:pk>/cancel/", bookings.cancel, name="cancel_booking"),
    path("found/<int:pk>/close/", findings.close, name="close_finding"),
    path("drums/<int:pk>/reverse/", readings.reverse_drum, name="reverse_drum"),
    path("readings/<int:pk>/reverse/", readings.reverse, name="reverse_reading"),
    path("photos/<slug:digest>.jpg", photos.photo, name="photo"),
    path("components/", components.components, name="components"),
    path("components/new/", components.new_component, name="new_component"),
    path("components/<str:tag>/", components.component, name="component"),
    path("components/<str:tag>/renew/", components.renew, name="renew"),
    path("components/<str:tag>/retire/", components.retire, name="retire_component"),
    path(
        "components/<str:tag>/counters/new/",
        rigs.new_component_counter,
        name="new_component_counter",
    ),
    path("renewals/<int:pk>/undo/", components.undo, name="undo_renewal"),
    path("services/", services.services, name="services"),
    path("services/new/", services.new_service, name="new_service"),
    path("services/<int:pk>/", services.service, name="service"),
    path("services/<int:pk>/change/", services.change, name="change_service"),
    path("services/<int:pk>/retire/", services.retire, name="retire_service"),
]
