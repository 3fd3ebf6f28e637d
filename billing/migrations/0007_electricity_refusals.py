"""What the database refuses about bills, shared charges and used tariffs; in `sql/<engine>/`."""

from typing import ClassVar

from django.db import migrations

from billing.migrations._sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0006_electricity_bills_and_month_charges")]

    operations: ClassVar = [
        run_sql_file("utility_bills"),
        run_sql_file("month_charges"),
        run_sql_file("used_tariffs"),
    ]
