"""The balances that a close keeps are final."""

from typing import ClassVar

from django.db import migrations

from billing.migrations._sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0012_month_balances")]

    operations: ClassVar = [run_sql_file("month_balances")]
