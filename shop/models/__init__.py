from shop.models.people import Person, Role, Shop

__all__ = ["Person", "Role", "Shop"]
