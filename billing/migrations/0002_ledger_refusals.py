"""What the database itself refuses about money; the rules are in `sql/<engine>/`."""

from typing import ClassVar

from django.db import migrations

from billing.migrations._sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0001_initial")]

    operations: ClassVar = [
        run_sql_file("entries"),
        run_sql_file("postings"),
        run_sql_file("months"),
        run_sql_file("statements"),
        run_sql_file("costs"),
        run_sql_file("shares"),
    ]
