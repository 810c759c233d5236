"""Addresses of equipment. Each one also has its row in shop/access.py."""

from django.urls import path

from equipment.views import readings

app_name = "equipment"
urlpatterns = [
    path("rigs/<int:number>/readings/", readings.readings, name="readings"),
    path("readings/<int:pk>/reverse/", readings.reverse, name="reverse_reading"),
]
