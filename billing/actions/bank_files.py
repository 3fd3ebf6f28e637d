"""A file of the bank is taken in: looked at whole, kept line by line, nothing posted yet."""

from __future__ import annotations

import hashlib
from datetime import datetime

from django.db import transaction

from billing.actions.ledger import day_words, hold_ledger, local_day
from billing.calculations.bank_csv import CsvMapping, read_bank_csv
from billing.calculations.bank_csv_guess import CsvPreview, preview_bank_csv
from billing.calculations.bank_files import MAX_BANK_FILE_BYTES, BankFileError, BankStatement
from billing.calculations.camt053 import looks_like_xml, read_camt053
from billing.models import BankFile, BankFileKind, BankLine, BillingPolicy
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio

NAME_LENGTH_MAX = 120


def take_in_bank_file(
    *, by: Person, at: datetime, name: str, content: bytes, mapping: CsvMapping | None = None
) -> BankFile:
    """Keep the lines of a camt.053 statement, or with a `mapping` those of a CSV table.

    Lines that an earlier file had are counted and passed over; nothing is a payment before the
    treasurer confirms it. The same file a second time, another currency and every fault in the
    file are refused, and then nothing is kept.
    """
    require_role(by, Role.TREASURER)
    check_size(content)
    check_is_new(content)
    is_xml = looks_like_xml(content)
    statement = _read(content, None if is_xml else mapping)
    with transaction.atomic(durable=True):
        policy = hold_ledger()
        check_is_new(content)
        known = set(
            BankLine.objects.filter(bank_id__in=[line.bank_id for line in statement.lines])
            .order_by()
            .values_list("bank_id", flat=True)
        )
        kept = BankFile.objects.create(
            name=name.strip()[-NAME_LENGTH_MAX:] or "Bank file",
            kind=BankFileKind.CAMT053 if is_xml else BankFileKind.CSV,
            content_hash=_hash(content),
            bank_accounts=list(statement.accounts),
            warnings=[*_foreign_accounts(statement, policy), *statement.warnings],
            lines_known_count=len(known),
            taken_in_by=by,
            taken_in_at=at,
        )
        lines = _lines(kept, statement, known)
        BankLine.objects.bulk_create(lines)
        record_deed(kept, "taken_in", by=by, at=at, lines=len(lines), known=len(known))
    return kept


def preview_bank_file(content: bytes) -> CsvPreview:
    """How a CSV table seems to be laid out; refused when nothing can be made of it."""
    check_size(content)
    try:
        return preview_bank_csv(content, Studio.current().currency)
    except BankFileError as error:
        raise _wrong(error) from error


def check_size(content: bytes) -> None:
    if len(content) > MAX_BANK_FILE_BYTES:
        raise BillingRefusal(
            "bank_file_too_big",
            f"This file has {len(content) / 1024**2:.1f} MB; at most "
            f"{MAX_BANK_FILE_BYTES // 1024**2} MB can be read. Ask the bank for shorter spans.",
            field="file",
            status=422,
        )


def check_is_new(content: bytes) -> None:
    """Refuse what was taken in before, and say when and by whom."""
    before = (
        BankFile.objects.filter(content_hash=_hash(content)).select_related("taken_in_by").first()
    )
    if before is not None:
        raise BillingRefusal(
            "bank_file_twice",
            f"This file was taken in already, on {day_words(local_day(before.taken_in_at))} by "
            f"{before.taken_in_by.name}. Nothing has changed.",
            field="file",
            bank_file=before.pk,
        )


def _read(content: bytes, mapping: CsvMapping | None) -> BankStatement:
    currency = Studio.current().currency
    try:
        if mapping is not None:
            return read_bank_csv(content, mapping, currency)
        if looks_like_xml(content):
            return read_camt053(content, currency)
    except BankFileError as error:
        raise _wrong(error) from error
    raise BillingRefusal(
        "bank_file_needs_mapping",
        "This is no XML. If it is CSV, say which column holds what.",
        field="mapping",
        status=422,
    )


def _wrong(error: BankFileError) -> BillingRefusal:
    return BillingRefusal(
        "bank_file_wrong",
        " ".join(error.messages),
        field="file",
        status=422,
        faults=list(error.messages),
    )


def _foreign_accounts(statement: BankStatement, policy: BillingPolicy) -> list[str]:
    """A statement of another account may be a slip; a studio may also have two accounts."""
    return [
        f"The file is of account {account}, but members are asked to pay to {policy.iban}."
        for account in statement.accounts
        if policy.iban and account != policy.iban
    ]


def _lines(kept: BankFile, statement: BankStatement, known: set[str]) -> list[BankLine]:
    return [
        BankLine(
            file=kept,
            line=line.line,
            booked_on=line.booked_on,
            amount_minor=line.amount_minor,
            reference=line.reference,
            text=line.text,
            counterparty=line.counterparty,
            bank_id=line.bank_id,
        )
        for line in statement.lines
        if line.bank_id not in known
    ]


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
