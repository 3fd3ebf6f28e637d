"""Posted costs are final again, with their steps; so are refunds, estimates and memberships in use."""

from typing import ClassVar

from django.db import migrations

from billing.migrations._sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0010_shares_were_split_alone")]

    operations: ClassVar = [
        run_sql_file("costs_with_steps"),
        run_sql_file("shares"),
        run_sql_file("steps"),
        run_sql_file("refunds"),
        run_sql_file("estimates"),
        run_sql_file("memberships"),
    ]
