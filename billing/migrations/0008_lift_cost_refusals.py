"""SQLite rebuilds the tables of costs and shares next: their triggers step aside until 0009."""

from typing import ClassVar

from django.db import migrations

from billing.migrations._sql_files import lift_sql_file


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0007_electricity_refusals")]

    operations: ClassVar = [lift_sql_file("shares"), lift_sql_file("costs")]
