"""Read an account statement in ISO 20022 camt.053, versions 2 to 13.

Element names as in the message definition report "Bank-to-Customer Cash Management"; between the
versions only the status (`Sts`, `Sts/Cd`), the names of parties (`Nm`, `Pty/Nm`) and the amount of
a transaction moved.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from xml.etree.ElementTree import Element

from billing.calculations.bank_files import (
    MAX_BANK_LINES,
    BankFileError,
    BankStatement,
    FoundLine,
    is_no_reference,
    with_bank_ids,
)
from billing.calculations.bank_xml import read_xml, text_at
from studio.calculations.money import format_minor, to_minor

_AMOUNT = re.compile(r"\d{1,15}(?:\.\d{1,5})?")
_SIGN = {"CRDT": 1, "DBIT": -1}
# What a closing balance stands on: the opening one, or by its older name the last closing one.
_OPENING, _CLOSING = ("OPBD", "PRCD"), ("CLBD",)


def looks_like_xml(content: bytes) -> bool:
    """Whether a file begins as XML does, in UTF-8 or UTF-16."""
    start = content[:200].replace(b"\0", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith(b"<")


def read_camt053(content: bytes, currency: str) -> BankStatement:
    """The booked lines of a statement in the studio's `currency`.

    Lines that are only announced are passed over and counted in a warning. A closing balance that
    is not the opening balance and the booked entries is a warning too: the file is not complete.
    Raises BankFileError with every fault and its line.
    """
    root, lines = read_xml(content)
    reader = _Reader(currency, lines)
    for statement in _statements(root, lines):
        reader.read(statement)
    if reader.faults:
        raise BankFileError(reader.faults)
    if not reader.found:
        reader.warnings.append("The file has no booked line.")
    accounts = tuple(dict.fromkeys(one for one in reader.accounts if one))
    return BankStatement(with_bank_ids(reader.found), accounts, tuple(reader.warnings))


def _statements(root: Element, lines: dict[Element, int]) -> list[Element]:
    statements = root.findall("BkToCstmrStmt/Stmt") if root.tag == "Document" else []
    if not statements:
        inside = next((child.tag for child in root), root.tag)
        message = (
            f"This is no account statement in camt.053: it holds {inside[:40]}. "
            "Ask the bank for the statement of booked lines."
        )
        raise BankFileError([(lines[root], message)])
    return statements


@dataclass
class _Reader:
    """Goes through statements, gathering lines, warnings and faults."""

    currency: str
    lines: dict[Element, int]
    found: list[FoundLine] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    faults: list[tuple[int, str]] = field(default_factory=list)
    accounts: list[str] = field(default_factory=list)
    _ids: dict[tuple[str, str], int] = field(default_factory=dict)
    _closing_minor: dict[str, int] = field(default_factory=dict)

    def read(self, statement: Element) -> None:
        account = text_at(statement, "Acct/Id/IBAN", "Acct/Id/Othr/Id")
        name = text_at(statement, "Id")
        if (account, name) in self._ids:
            first = self._ids[account, name]
            self._fault(statement, f"Statement {name} stands on line {first} already.")
            return
        self._ids[account, name] = self.lines[statement]
        self.accounts.append(account)
        faults_before = len(self.faults)
        sum_minor = sum(self._entry(entry, account) for entry in self._booked(statement))
        balances = self._balances(statement)
        if len(self.faults) == faults_before:
            self._check_balances(name, account, balances, sum_minor)

    def _booked(self, statement: Element) -> Iterator[Element]:
        announced = 0
        for entry in statement.findall("Ntry"):
            status = text_at(entry, "Sts/Cd", "Sts")
            if status == "BOOK":
                yield entry
            elif status:
                announced += 1
            else:
                self._fault(entry, "The entry does not say whether it is booked (Sts).")
        if announced:
            one = announced == 1
            self.warnings.append(
                f"{announced} {'line is' if one else 'lines are'} announced and not booked yet; "
                f"{'it is' if one else 'they are'} left out until the bank has booked "
                f"{'it' if one else 'them'}."
            )

    def _entry(self, entry: Element, account: str) -> int:
        """Take an entry's line, or the lines of its transactions; gives its amount."""
        amount_minor = self._amount(entry)
        booked_on = self._day(entry)
        if amount_minor is None or booked_on is None:
            return 0
        if amount_minor == 0:
            self.warnings.append(f"Line {self.lines[entry]} moves no money and is left out.")
            return 0
        parts = self._parts(entry, amount_minor)
        own_reference = text_at(entry, "AcctSvcrRef", "NtryRef")
        for number, (details, part_minor) in enumerate(parts, 1):
            bank_reference = text_at(details, "Refs/AcctSvcrRef")
            if not bank_reference and not is_no_reference(own_reference):
                bank_reference = own_reference if len(parts) == 1 else f"{own_reference}/{number}"
            self._take(entry, details, account, booked_on, part_minor, bank_reference)
        return amount_minor

    def _take(
        self,
        entry: Element,
        details: Element | None,
        account: str,
        booked_on: date,
        amount_minor: int,
        bank_reference: str,
    ) -> None:
        if len(self.found) == MAX_BANK_LINES:
            message = f"The file has more than {MAX_BANK_LINES:,} lines. Send it in parts."
            raise BankFileError([(self.lines[entry], message)])
        self.found.append(
            FoundLine(
                line=self.lines[entry if details is None else details],
                booked_on=booked_on,
                amount_minor=amount_minor,
                currency=self.currency,
                reference=_reference(details),
                text=_text(entry, details),
                counterparty=_counterparty(details, amount_minor),
                account=account,
                bank_reference=bank_reference,
            )
        )

    def _parts(self, entry: Element, amount_minor: int) -> list[tuple[Element | None, int]]:
        """The transactions of an entry, when their amounts are told and sum to it; else itself."""
        details = entry.findall("NtryDtls/TxDtls")
        if len(details) < 2:
            return [(details[0] if details else None, amount_minor)]
        parts = [(one, self._part_minor(one, amount_minor)) for one in details]
        if sum(part or 0 for _, part in parts) == amount_minor and all(p for _, p in parts):
            return [(one, part) for one, part in parts if part is not None]
        self.warnings.append(
            f"The entry on line {self.lines[entry]} gathers {len(details)} transactions without "
            "saying how much each was; it is taken as one line."
        )
        return [(None, amount_minor)]

    def _part_minor(self, details: Element, entry_minor: int) -> int | None:
        amount = details.find("Amt")
        if amount is None:
            amount = details.find("AmtDtls/TxAmt/Amt")
        if amount is None or amount.get("Ccy") != self.currency:
            return None
        magnitude = _minor(amount, self.currency)
        sign = _SIGN.get(text_at(details, "CdtDbtInd"), 1 if entry_minor > 0 else -1)
        return None if magnitude is None else sign * magnitude

    def _amount(self, owner: Element) -> int | None:
        """The signed amount of an entry or a balance; a fault when it is not as it should be."""
        amount = owner.find("Amt")
        sign = _SIGN.get(text_at(owner, "CdtDbtInd"))
        if amount is None or sign is None:
            self._fault(owner, f"{owner.tag} needs an amount (Amt) and CRDT or DBIT (CdtDbtInd).")
            return None
        if amount.get("Ccy") != self.currency:
            told = f"The amount is in {(amount.get('Ccy') or 'no currency')[:12]}; "
            self._fault(amount, f"{told}the studio's books are kept in {self.currency}.")
            return None
        minor = _minor(amount, self.currency)
        if minor is None:
            self._fault(amount, f"{(amount.text or '').strip()[:40]!r} is no amount.")
            return None
        return sign * minor

    def _day(self, entry: Element) -> date | None:
        text = text_at(entry, "BookgDt/Dt", "BookgDt/DtTm", "ValDt/Dt", "ValDt/DtTm")[:10]
        try:
            return date.fromisoformat(text)
        except ValueError:
            shown = repr(text) if text else "Nothing"
            self._fault(entry, f"{shown} is no day of booking such as 2026-03-31.")
            return None

    def _balances(self, statement: Element) -> dict[str, int]:
        balances: dict[str, int] = {}
        for balance in statement.findall("Bal"):
            kind = text_at(balance, "Tp/CdOrPrtry/Cd")
            if kind in _OPENING or kind in _CLOSING:
                amount_minor = self._amount(balance)
                if amount_minor is not None:
                    balances.setdefault(kind, amount_minor)
        return balances

    def _check_balances(
        self, name: str, account: str, balances: dict[str, int], sum_minor: int
    ) -> None:
        """CLBD is OPBD and the booked entries; OPBD is the CLBD of the statement before."""
        opening = next((balances[kind] for kind in _OPENING if kind in balances), None)
        closing = next((balances[kind] for kind in _CLOSING if kind in balances), None)
        if opening is None or closing is None:
            self.warnings.append(
                f"Statement {name} has no opening and closing balance, so nobody can check that "
                "its lines are complete."
            )
        elif closing != opening + sum_minor:
            self.warnings.append(
                f"Statement {name} does not add up: opening balance {self._money(opening)} and "
                f"booked lines of {self._money(sum_minor)} make "
                f"{self._money(opening + sum_minor)}, but its closing balance is "
                f"{self._money(closing)}. Lines may be missing; ask the bank."
            )
        before = self._closing_minor.get(account)
        if before is not None and opening is not None and opening != before:
            self.warnings.append(
                f"Statement {name} opens with {self._money(opening)}, but the one before closed "
                f"with {self._money(before)}. A statement between them may be missing."
            )
        if closing is not None:
            self._closing_minor[account] = closing

    def _money(self, amount_minor: int) -> str:
        return format_minor(amount_minor, self.currency)

    def _fault(self, element: Element, message: str) -> None:
        self.faults.append((self.lines[element], message))


def _minor(amount: Element, currency: str) -> int | None:
    text = (amount.text or "").strip()
    if _AMOUNT.fullmatch(text) is None:
        return None
    try:
        return to_minor(Decimal(text), currency)
    except ValueError:
        return None


def _reference(details: Element | None) -> str:
    """The creditor's structured reference, or the number the payer's bank sent from end to end."""
    structured = text_at(details, "RmtInf/Strd/CdtrRefInf/Ref")
    end_to_end = text_at(details, "Refs/EndToEndId")
    return structured or ("" if is_no_reference(end_to_end) else end_to_end)


def _text(entry: Element, details: Element | None) -> str:
    """What the payer wrote, in as many parts as the bank cut it into; else the bank's words."""
    parts = [] if details is None else details.findall("RmtInf/Ustrd")
    if details is None:
        parts = entry.findall("NtryDtls/TxDtls/RmtInf/Ustrd")
    written = " ".join(text for part in parts if (text := text_at(part, ".")))
    return written or text_at(details, "AddtlTxInf") or text_at(entry, "AddtlNtryInf")


def _counterparty(details: Element | None, amount_minor: int) -> str:
    """Who paid, or who was paid; for money sent back banks keep the parties of the first way."""
    parties = details.find("RltdPties") if details is not None else None
    payer, paid = ("Dbtr/Pty/Nm", "Dbtr/Nm"), ("Cdtr/Pty/Nm", "Cdtr/Nm")
    is_reversal = text_at(details, "RtrInf/Rsn/Cd", "RtrInf/Rsn/Prtry") != ""
    first, then = (payer, paid) if (amount_minor > 0) != is_reversal else (paid, payer)
    return text_at(parties, *first, *then)
