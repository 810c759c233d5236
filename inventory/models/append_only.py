"""Rows that are only added: code is refused here, and everybody else by inventory/guards.py."""

from typing import Any, TypeVar

from django.db import models

Row = TypeVar("Row", bound=models.Model)


class RowIsAppendOnly(TypeError):
    """Someone tried to change or delete what is only added to."""

    def __init__(self, model: type[models.Model]) -> None:
        name = str(model._meta.verbose_name)
        super().__init__(f"A {name} is only added. Reverse it, do not change it.")


class AppendOnlyQuerySet(models.QuerySet[Row]):
    def update(self, **kwargs: Any) -> int:
        raise RowIsAppendOnly(self.model)

    def delete(self) -> tuple[int, dict[str, int]]:
        raise RowIsAppendOnly(self.model)


class AppendOnly(models.Model):
    """A row that is written once."""

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, **kwargs: Any) -> None:
        if not self._state.adding:
            raise RowIsAppendOnly(type(self))
        super().save(**{**kwargs, "force_insert": True})

    def delete(self, *args: Any, **kwargs: Any) -> tuple[int, dict[str, int]]:
        raise RowIsAppendOnly(type(self))
