"""Every address of the site. Each one also has its row in shop/access.py."""

from django.urls import include, path

from shop.views import front, people, settings

shop_addresses = [
    path("welcome/", front.welcome, name="welcome"),
    path("sign-in/", front.sign_in, name="sign_in"),
    path("sign-out/", front.sign_out, name="sign_out"),
    path("people/", people.people, name="people"),
    path("people/new/", people.new_person, name="new_person"),
    path("people/<int:pk>/", people.person, name="person"),
    path("shop/", settings.settings, name="settings"),
]

urlpatterns = [
    path("", include((shop_addresses, "shop"))),
    path("", include("equipment.urls")),
    path("", include("inventory.urls")),
]
