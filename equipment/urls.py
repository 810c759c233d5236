"""Addresses of equipment. Each one also has its row in shop/access.py."""

from django.urls import path

from equipment.views import bookings, findings, readings, rounds

app_name = "equipment"
urlpatterns = [
    path("rigs/<int:number>/readings/", readings.readings, name="readings"),
    path("rigs/<int:number>/round/", rounds.round_, name="round"),
    path("rigs/<int:number>/found/", findings.new_finding, name="new_finding"),
    path("rigs/<int:number>/bookings/", bookings.bookings, name="bookings"),
    path("bookings/<int:pk>/cancel/", bookings.cancel, name="cancel_booking"),
    path("found/<int:pk>/close/", findings.close, name="close_finding"),
    path("readings/<int:pk>/reverse/", readings.reverse, name="reverse_reading"),
]
