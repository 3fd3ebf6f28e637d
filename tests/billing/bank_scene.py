"""Files as a bank would send them about Ashbank Studio's account. All invented.

The XML follows the published structure of ISO 20022 camt.053.001.08 (message definition report
"Bank-to-Customer Cash Management"); the IBAN is the example of the IBAN registry (ISO 13616).
"""

from __future__ import annotations

from dataclasses import dataclass

from billing.actions.bank_files import take_in_bank_file
from billing.calculations.payment_references import reference_of
from billing.models import BankFile, BankLine
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH

IBAN = "DE89370400440532013000"


@dataclass(frozen=True)
class Entry:
    amount: str = "5.79"
    sign: str = "CRDT"
    on: str = "2026-04-01"
    name: str = "Ada Rowan"
    text: str = ""
    reference: str = ""
    end_to_end: str = "NOTPROVIDED"
    bank_reference: str = ""
    status: str = "<Cd>BOOK</Cd>"
    currency: str = "EUR"

    def xml(self) -> str:
        party = "Dbtr" if self.sign == "CRDT" else "Cdtr"
        structured = f"<Strd><CdtrRefInf><Ref>{self.reference}</Ref></CdtrRefInf></Strd>"
        own = f"<AcctSvcrRef>{self.bank_reference}</AcctSvcrRef>" if self.bank_reference else ""
        return f"""
      <Ntry>
        <Amt Ccy="{self.currency}">{self.amount}</Amt>
        <CdtDbtInd>{self.sign}</CdtDbtInd>
        <Sts>{self.status}</Sts>
        <BookgDt><Dt>{self.on}</Dt></BookgDt>
        {own}
        <NtryDtls><TxDtls>
          <Refs><EndToEndId>{self.end_to_end}</EndToEndId></Refs>
          <RltdPties><{party}><Pty><Nm>{self.name}</Nm></Pty></{party}></RltdPties>
          <RmtInf>{f"<Ustrd>{self.text}</Ustrd>" if self.text else ""}{
            structured if self.reference else ""
        }</RmtInf>
        </TxDtls></NtryDtls>
      </Ntry>"""


def balance(kind: str, amount: str, currency: str = "EUR") -> str:
    sign, amount = ("DBIT", amount[1:]) if amount.startswith("-") else ("CRDT", amount)
    return f"""
      <Bal><Tp><CdOrPrtry><Cd>{kind}</Cd></CdOrPrtry></Tp>
        <Amt Ccy="{currency}">{amount}</Amt><CdtDbtInd>{sign}</CdtDbtInd>
        <Dt><Dt>2026-04-01</Dt></Dt></Bal>"""


def statement(
    *entries: Entry, opening: str = "", closing: str = "", name: str = "2026-07", extra: str = ""
) -> str:
    return f"""
    <Stmt>
      <Id>{name}</Id>
      <Acct><Id><IBAN>{IBAN}</IBAN></Id></Acct>{balance("OPBD", opening) if opening else ""}{
        balance("CLBD", closing) if closing else ""
    }{"".join(entry.xml() for entry in entries)}{extra}
    </Stmt>"""


def document(*statements: str, version: str = "08") -> bytes:
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.{version}">
  <BkToCstmrStmt>
    <GrpHdr><MsgId>1</MsgId><CreDtTm>2026-04-02T06:00:00+02:00</CreDtTm></GrpHdr>{
        "".join(statements)
    }
  </BkToCstmrStmt>
</Document>
""".encode()


def camt(*entries: Entry, **options: str) -> bytes:
    """One statement whose balances, unless given, add up."""
    cents = sum(
        (1 if entry.sign == "CRDT" else -1) * int(entry.amount.replace(".", ""))
        for entry in entries
        if "BOOK" in entry.status
    )
    closing = f"{'-' if 10000 + cents < 0 else ''}{abs(10000 + cents) / 100:.2f}"
    return document(statement(*entries, **{"opening": "100.00", "closing": closing, **options}))


def by_reference(account: int = 101, **changes: str) -> Entry:
    return Entry(**{"reference": reference_of(account), **changes})


def taken_in(books: Books, *entries: Entry, name: str = "april.xml", **options: str) -> BankFile:
    return take_in_bank_file(
        by=books.treasurer, at=AFTER_MARCH, name=name, content=camt(*entries, **options)
    )


def a_line(books: Books, **changes: str) -> BankLine:
    """One line that waits: 5.79 from Ada Rowan with her account's reference."""
    return taken_in(books, by_reference(**changes)).lines.get()
