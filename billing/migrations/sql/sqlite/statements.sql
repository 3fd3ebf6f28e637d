-- Statements are numbered 1, 2, 3 without a hole, and what was issued is never changed.
-- The same holds for a recorded payment: it is taken back by reversing its entry.

CREATE TRIGGER statement_number_is_the_next BEFORE INSERT ON billing_statement
BEGIN
    SELECT RAISE(ABORT, 'statement_number_is_the_next: the sequence has no holes')
    WHERE NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM billing_statement);
END;

CREATE TRIGGER statement_is_not_replaced BEFORE INSERT ON billing_statement
WHEN EXISTS (
    SELECT 1 FROM billing_statement
    WHERE id = NEW.id OR (account_id = NEW.account_id AND close_id = NEW.close_id)
)
BEGIN
    SELECT RAISE(ABORT, 'statement_is_not_replaced: an issued statement stands for good');
END;

CREATE TRIGGER statement_is_not_changed BEFORE UPDATE ON billing_statement
BEGIN
    SELECT RAISE(ABORT, 'statement_is_not_changed: an issued statement stands for good');
END;

CREATE TRIGGER statement_is_not_deleted BEFORE DELETE ON billing_statement
BEGIN
    SELECT RAISE(ABORT, 'statement_is_not_deleted: an issued statement stands for good');
END;

CREATE TRIGGER payment_is_not_replaced BEFORE INSERT ON billing_payment
WHEN EXISTS (SELECT 1 FROM billing_payment WHERE id = NEW.id OR entry_id = NEW.entry_id)
BEGIN
    SELECT RAISE(ABORT, 'payment_is_not_replaced: reverse its entry instead');
END;

CREATE TRIGGER payment_is_not_changed BEFORE UPDATE ON billing_payment
BEGIN
    SELECT RAISE(ABORT, 'payment_is_not_changed: reverse its entry instead');
END;

CREATE TRIGGER payment_is_not_deleted BEFORE DELETE ON billing_payment
BEGIN
    SELECT RAISE(ABORT, 'payment_is_not_deleted: reverse its entry instead');
END;
