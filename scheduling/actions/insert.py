"""Writing tens of thousands of computed rows a night: one statement a table, values passed straight through.

`bulk_create` spends most of a night's time on preparing each value of each row, and SQLite splits it by its limit of
parameters. Only for plain columns that the core has computed: no defaults, no validation, no keys come back.
"""

import json
from collections.abc import Iterable
from typing import Any

from django.db import connections, models, router


def insert_rows(model: type[models.Model], columns: tuple[str, ...], rows: Iterable[tuple[Any, ...]]) -> None:
    """Insert `rows`, each with the values of the attributes named by `columns`; a dict becomes JSON.

    Call inside a transaction. Works on SQLite and PostgreSQL.
    """
    connection = connections[router.db_for_write(model)]
    by_name = {field.attname: field.column for field in model._meta.concrete_fields}
    quote = connection.ops.quote_name
    names = ", ".join(quote(by_name[name]) for name in columns)
    places = ", ".join(["%s"] * len(columns))
    statement = f"INSERT INTO {quote(model._meta.db_table)} ({names}) VALUES ({places})"  # noqa: S608
    plain = [tuple(json.dumps(value) if isinstance(value, dict) else value for value in row) for row in rows]
    if plain:
        with connection.cursor() as cursor:
            cursor.executemany(statement, plain)
