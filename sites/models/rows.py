"""What every table that pages and the API read from can say: which of its rows a person may see."""

from typing import TYPE_CHECKING, Self, TypeVar

from django.db import models

if TYPE_CHECKING:
    from sites.models.people import User

Row = TypeVar("Row", bound=models.Model, covariant=True)


class ScopedRows(models.QuerySet[Row]):
    """Rows that are closed until `visible_to` opens them."""

    def visible_to(self, user: "User") -> Self:
        """The rows this person may see; none where a table does not say."""
        return self.none()
