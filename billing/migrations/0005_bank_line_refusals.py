"""What the bank said cannot be edited; the rules are in `sql/<engine>/bank_lines.sql`."""

from typing import ClassVar

from django.db import migrations

from billing.migrations._sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0004_bank_files")]

    operations: ClassVar = [run_sql_file("bank_lines")]
