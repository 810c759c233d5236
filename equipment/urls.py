"""Addresses of equipment. Each one also has its row in shop/access.py."""

from django.urls import URLPattern

app_name = "equipment"
urlpatterns: list[URLPattern] = []
