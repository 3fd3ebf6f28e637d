-- The postings of a posted entry are as final as the entry: none is added, changed, moved in or
-- out, or deleted. INSERT OR REPLACE would delete without firing the trigger for a deletion, so
-- an insertion with the id of a posted one is refused as well.

CREATE TRIGGER posted_entry_takes_no_posting BEFORE INSERT ON billing_posting
WHEN EXISTS (
    SELECT 1 FROM billing_journalentry WHERE id = NEW.entry_id AND posted_at IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'posted_entry_takes_no_posting: correct it with a reversal');
END;

CREATE TRIGGER posting_is_not_replaced BEFORE INSERT ON billing_posting
WHEN EXISTS (SELECT 1 FROM billing_posting WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posting_is_not_replaced: correct it with a reversal');
END;

CREATE TRIGGER posting_keeps_its_id BEFORE UPDATE OF id ON billing_posting
WHEN OLD.id <> NEW.id
BEGIN
    SELECT RAISE(ABORT, 'posting_keeps_its_id: it could replace another');
END;

CREATE TRIGGER posting_of_posted_entry_is_not_changed BEFORE UPDATE ON billing_posting
WHEN EXISTS (
    SELECT 1 FROM billing_journalentry
    WHERE id IN (OLD.entry_id, NEW.entry_id) AND posted_at IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'posting_of_posted_entry_is_not_changed: correct it with a reversal');
END;

CREATE TRIGGER posting_of_posted_entry_is_not_deleted BEFORE DELETE ON billing_posting
WHEN EXISTS (
    SELECT 1 FROM billing_journalentry WHERE id = OLD.entry_id AND posted_at IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'posting_of_posted_entry_is_not_deleted: correct it with a reversal');
END;
