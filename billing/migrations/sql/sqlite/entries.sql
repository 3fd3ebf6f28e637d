-- A journal entry is written open, given its postings, and then posted by setting posted_at.
-- Posting needs two postings or more that sum to zero, and a month that is not closed.
-- What is posted is never changed, un-posted or deleted: a correction is another entry.

CREATE TRIGGER entry_is_written_open BEFORE INSERT ON billing_journalentry
WHEN NEW.posted_at IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'entry_is_written_open: write the postings first, then set posted_at');
END;

CREATE TRIGGER posted_entry_is_not_replaced BEFORE INSERT ON billing_journalentry
WHEN EXISTS (SELECT 1 FROM billing_journalentry WHERE posted_at IS NOT NULL AND id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posted_entry_is_not_replaced: a posted entry stands for good');
END;

CREATE TRIGGER posted_entry_balances BEFORE UPDATE ON billing_journalentry
WHEN OLD.posted_at IS NULL AND NEW.posted_at IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_entry_balances: an entry needs two postings that sum to zero')
    FROM (
        SELECT count(*) AS postings, coalesce(sum(amount_minor), 0) AS sum_minor
        FROM billing_posting WHERE entry_id = OLD.id
    )
    WHERE postings < 2 OR sum_minor <> 0;
END;

CREATE TRIGGER closed_month_takes_no_entry BEFORE UPDATE ON billing_journalentry
WHEN OLD.posted_at IS NULL AND NEW.posted_at IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'closed_month_takes_no_entry: date the entry into an open month')
    WHERE NEW."on" < (SELECT date(max(month), '+1 month') FROM billing_monthclose);
END;

CREATE TRIGGER posted_entry_is_not_changed BEFORE UPDATE ON billing_journalentry
WHEN OLD.posted_at IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_entry_is_not_changed: correct it with a reversal');
END;

CREATE TRIGGER posted_entry_is_not_deleted BEFORE DELETE ON billing_journalentry
WHEN OLD.posted_at IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_entry_is_not_deleted: correct it with a reversal');
END;
