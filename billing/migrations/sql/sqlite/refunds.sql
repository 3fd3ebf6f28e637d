-- A refund is final like its entry, and all that stand give back no more than the share.

CREATE TRIGGER refund_stays_within_its_share BEFORE INSERT ON billing_refund
WHEN NEW.amount_minor + (
    SELECT coalesce(sum(amount_minor), 0) FROM billing_refund
    WHERE share_id = NEW.share_id AND entry_id NOT IN (
        SELECT reverses_id FROM billing_journalentry WHERE reverses_id IS NOT NULL
    )
) > (SELECT amount_minor FROM billing_share WHERE id = NEW.share_id)
BEGIN
    SELECT RAISE(ABORT, 'refund_stays_within_its_share: no more is given back than was charged');
END;

CREATE TRIGGER refund_is_not_replaced BEFORE INSERT ON billing_refund
WHEN EXISTS (SELECT 1 FROM billing_refund WHERE id = NEW.id OR entry_id = NEW.entry_id)
BEGIN
    SELECT RAISE(ABORT, 'refund_is_not_replaced: reverse its entry');
END;

CREATE TRIGGER refund_is_not_changed BEFORE UPDATE ON billing_refund
BEGIN
    SELECT RAISE(ABORT, 'refund_is_not_changed: reverse its entry');
END;

CREATE TRIGGER refund_is_not_deleted BEFORE DELETE ON billing_refund
BEGIN
    SELECT RAISE(ABORT, 'refund_is_not_deleted: reverse its entry');
END;
