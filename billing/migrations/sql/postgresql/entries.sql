-- A journal entry is written open, given its postings, and then posted by setting posted_at.
-- Posting needs two postings or more that sum to zero, and a month that is not closed.
-- What is posted is never changed, un-posted or deleted: a correction is another entry.

CREATE FUNCTION billing_refuse(rule text, remedy text) RETURNS void AS $$
BEGIN
    RAISE EXCEPTION '%: %', rule, remedy
        USING ERRCODE = 'integrity_constraint_violation', CONSTRAINT = rule;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION billing_guard_entry() RETURNS trigger AS $$
DECLARE
    postings bigint;
    sum_minor numeric;
BEGIN
    IF TG_OP = 'INSERT' THEN
        IF NEW.posted_at IS NOT NULL THEN
            PERFORM billing_refuse('entry_is_written_open',
                'write the postings first, then set posted_at');
        END IF;
        RETURN NEW;
    END IF;
    IF OLD.posted_at IS NOT NULL THEN
        PERFORM billing_refuse(
            CASE TG_OP WHEN 'DELETE' THEN 'posted_entry_is_not_deleted'
                ELSE 'posted_entry_is_not_changed' END,
            'correct it with a reversal');
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    IF NEW.posted_at IS NOT NULL THEN
        SELECT count(*), coalesce(sum(amount_minor), 0) INTO postings, sum_minor
        FROM billing_posting WHERE entry_id = OLD.id;
        IF postings < 2 OR sum_minor <> 0 THEN
            PERFORM billing_refuse('posted_entry_balances',
                'an entry needs two postings that sum to zero');
        END IF;
        IF NEW."on" < (SELECT max(month) + interval '1 month' FROM billing_monthclose) THEN
            PERFORM billing_refuse('closed_month_takes_no_entry',
                'date the entry into an open month');
        END IF;
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER entry_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_journalentry
FOR EACH ROW EXECUTE FUNCTION billing_guard_entry();
