-- What the bank said stands for good; only what became of a line may change.

CREATE TRIGGER bank_line_is_not_changed BEFORE UPDATE ON billing_bankline
WHEN OLD.id <> NEW.id OR OLD.file_id <> NEW.file_id OR OLD.line <> NEW.line
    OR OLD.booked_on <> NEW.booked_on OR OLD.amount_minor <> NEW.amount_minor
    OR OLD.reference <> NEW.reference OR OLD.text <> NEW.text
    OR OLD.counterparty <> NEW.counterparty OR OLD.bank_id <> NEW.bank_id
    OR NEW.times_taken < OLD.times_taken
BEGIN
    SELECT RAISE(ABORT, 'bank_line_is_not_changed: the bank said so');
END;

CREATE TRIGGER payment_is_what_the_bank_booked BEFORE UPDATE OF payment_id ON billing_bankline
WHEN NEW.payment_id IS NOT NULL AND NEW.amount_minor <> (
    SELECT amount_minor FROM billing_payment WHERE id = NEW.payment_id
)
BEGIN
    SELECT RAISE(ABORT, 'payment_is_what_the_bank_booked: the amounts differ');
END;

CREATE TRIGGER bank_line_is_not_deleted BEFORE DELETE ON billing_bankline
BEGIN
    SELECT RAISE(ABORT, 'bank_line_is_not_deleted: set it aside instead');
END;

CREATE TRIGGER bank_file_is_not_changed BEFORE UPDATE ON billing_bankfile
BEGIN
    SELECT RAISE(ABORT, 'bank_file_is_not_changed: it was taken in as it was');
END;

CREATE TRIGGER bank_file_is_not_deleted BEFORE DELETE ON billing_bankfile
BEGIN
    SELECT RAISE(ABORT, 'bank_file_is_not_deleted: its lines may be payments');
END;
