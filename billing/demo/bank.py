"""Yesterday at the bank: an invented statement of the demo studio's account, in camt.053."""

from __future__ import annotations

from datetime import date, datetime
from xml.etree.ElementTree import Element, SubElement, tostring

from billing.actions.balances import balances_on
from billing.actions.bank_files import take_in_bank_file
from billing.actions.bank_lines import confirm_bank_line, set_aside_bank_line
from billing.calculations.payment_references import reference_of
from billing.demo.scene import Scene, day_of
from billing.models import BankFile, Statement
from studio.calculations.money import from_minor
from studio.models import Studio

NAMESPACE = "urn:iso:std:iso:20022:tech:xsd:camt.053.001.08"
OPENING_MINOR = 218_455
POWER_BILL_MINOR = 31_260


def take_in_yesterdays_statement(scene: Scene, at: datetime) -> None:
    """Some who owe have paid, each in another manner; the power bill went out and is set aside."""
    booked_on = day_of(at, -1)
    file = take_in_bank_file(
        by=scene.treasurer,
        at=at,
        name=f"statement-{booked_on:%Y-%m-%d}.xml",
        content=_document(booked_on, _transfers(day_of(at))),
    )
    _deal_with_some(scene, file, at)


def _transfers(today: date) -> list[tuple[int, str, str, str]]:
    """Amount, who, what they wrote, reference: with check digits, by statement, by name alone."""
    owed = {row.account.pk: row.balance_minor for row in balances_on(today)}
    latest: dict[int, Statement] = {}
    for statement in Statement.objects.select_related("account").order_by("number"):
        latest[statement.account_id] = statement
    asked = [one for one in latest.values() if one.closing_minor > 0 < owed[one.account_id]]
    manners = (
        lambda one: ("", reference_of(one.account.number)),
        lambda one: ("kiln fees", reference_of(one.account.number)),
        lambda one: (f"Statement {one.number}", ""),
        lambda one: ("for the kilns", ""),
    )
    chosen = list(zip(asked, manners, strict=False))
    made = [
        (min(one.closing_minor, owed[one.account_id]), one.account.name, *manner(one))
        for one, manner in chosen
    ]
    made.append((2500, "L. Quill", "two bags of buff, thanks", ""))
    return [*made, (-POWER_BILL_MINOR, "Merrow Light", "Power, last month", "")]


def _deal_with_some(scene: Scene, file: BankFile, at: datetime) -> None:
    accounts = {
        one.account.name: one.account for one in Statement.objects.select_related("account")
    }
    for line in file.lines.order_by("line"):
        if line.amount_minor < 0:
            reason = "The power bill: not a member's."
            set_aside_bank_line(by=scene.treasurer, at=at, line=line, reason=reason)
        elif line.text == "kiln fees":
            confirm_bank_line(
                by=scene.treasurer, at=at, line=line, account=accounts[line.counterparty]
            )


def _document(booked_on: date, transfers: list[tuple[int, str, str, str]]) -> bytes:
    root = Element("Document", xmlns=NAMESPACE)
    message = SubElement(root, "BkToCstmrStmt")
    _put(message, "GrpHdr/MsgId", f"{booked_on:%Y%m%d}")
    statement = SubElement(message, "Stmt")
    _put(statement, "Id", f"{booked_on:%Y-%j}")
    _put(statement, "Acct/Id/Othr/Id", "SALTMARSH-1")
    closing_minor = OPENING_MINOR + sum(amount_minor for amount_minor, *_ in transfers)
    for kind, amount_minor in (("OPBD", OPENING_MINOR), ("CLBD", closing_minor)):
        balance = SubElement(statement, "Bal")
        _put(balance, "Tp/CdOrPrtry/Cd", kind)
        _put_amount(balance, amount_minor)
    for amount_minor, name, text, reference in transfers:
        entry = SubElement(statement, "Ntry")
        _put_amount(entry, amount_minor)
        _put(entry, "Sts/Cd", "BOOK")
        _put(entry, "BookgDt/Dt", booked_on.isoformat())
        details = SubElement(SubElement(entry, "NtryDtls"), "TxDtls")
        _put(details, f"RltdPties/{'Dbtr' if amount_minor > 0 else 'Cdtr'}/Pty/Nm", name)
        remittance = SubElement(details, "RmtInf")
        if text:
            _put(remittance, "Ustrd", text)
        if reference:
            _put(remittance, "Strd/CdtrRefInf/Ref", reference)
    return tostring(root, encoding="utf-8", xml_declaration=True)


def _put_amount(parent: Element, amount_minor: int) -> None:
    currency = Studio.current().currency
    amount = SubElement(parent, "Amt", Ccy=currency)
    amount.text = str(from_minor(abs(amount_minor), currency))
    _put(parent, "CdtDbtInd", "CRDT" if amount_minor > 0 else "DBIT")


def _put(parent: Element, path: str, text: str) -> None:
    for tag in path.split("/"):
        parent = SubElement(parent, tag)
    parent.text = text
