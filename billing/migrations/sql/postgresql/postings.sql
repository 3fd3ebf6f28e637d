-- The postings of a posted entry are as final as the entry: none is added, changed, moved in or
-- out, or deleted. The entry's row is locked first, so that nobody posts it meanwhile.

CREATE FUNCTION billing_guard_posting() RETURNS trigger AS $$
BEGIN
    IF TG_OP <> 'INSERT' THEN
        PERFORM 1 FROM billing_journalentry WHERE id = OLD.entry_id FOR SHARE;
        IF EXISTS (
            SELECT 1 FROM billing_journalentry WHERE id = OLD.entry_id AND posted_at IS NOT NULL
        ) THEN
            PERFORM billing_refuse(
                CASE TG_OP WHEN 'DELETE' THEN 'posting_of_posted_entry_is_not_deleted'
                    ELSE 'posting_of_posted_entry_is_not_changed' END,
                'correct it with a reversal');
        END IF;
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    PERFORM 1 FROM billing_journalentry WHERE id = NEW.entry_id FOR SHARE;
    IF EXISTS (
        SELECT 1 FROM billing_journalentry WHERE id = NEW.entry_id AND posted_at IS NOT NULL
    ) THEN
        PERFORM billing_refuse('posted_entry_takes_no_posting', 'correct it with a reversal');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER posting_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_posting
FOR EACH ROW EXECUTE FUNCTION billing_guard_posting();
