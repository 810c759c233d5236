"""Addresses of inventory. Each one also has its row in shop/access.py."""

from django.urls import URLPattern

app_name = "inventory"
urlpatterns: list[URLPattern] = []
