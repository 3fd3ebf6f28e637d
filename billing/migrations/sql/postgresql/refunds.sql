-- A refund is final like its entry, and all that stand give back no more than the share.

CREATE FUNCTION billing_guard_refund() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        PERFORM billing_refuse('refund_is_not_deleted', 'reverse its entry');
    ELSIF TG_OP = 'UPDATE' THEN
        PERFORM billing_refuse('refund_is_not_changed', 'reverse its entry');
    END IF;
    PERFORM 1 FROM billing_share WHERE id = NEW.share_id FOR UPDATE;
    IF NEW.amount_minor + (
        SELECT coalesce(sum(amount_minor), 0) FROM billing_refund
        WHERE share_id = NEW.share_id AND entry_id NOT IN (
            SELECT reverses_id FROM billing_journalentry WHERE reverses_id IS NOT NULL
        )
    ) > (SELECT amount_minor FROM billing_share WHERE id = NEW.share_id) THEN
        PERFORM billing_refuse('refund_stays_within_its_share',
            'no more is given back than was charged');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER refund_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_refund
FOR EACH ROW EXECUTE FUNCTION billing_guard_refund();
