-- What the bank said stands for good; only what became of a line may change.

CREATE FUNCTION billing_guard_bank_line() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        PERFORM billing_refuse('bank_line_is_not_deleted', 'set it aside instead');
    END IF;
    IF (OLD.id, OLD.file_id, OLD.line, OLD.booked_on, OLD.amount_minor, OLD.reference, OLD.text,
        OLD.counterparty, OLD.bank_id) IS DISTINCT FROM
       (NEW.id, NEW.file_id, NEW.line, NEW.booked_on, NEW.amount_minor, NEW.reference, NEW.text,
        NEW.counterparty, NEW.bank_id) OR NEW.times_taken < OLD.times_taken THEN
        PERFORM billing_refuse('bank_line_is_not_changed', 'the bank said so');
    END IF;
    IF NEW.payment_id IS NOT NULL AND NEW.amount_minor <> (
        SELECT amount_minor FROM billing_payment WHERE id = NEW.payment_id
    ) THEN
        PERFORM billing_refuse('payment_is_what_the_bank_booked', 'the amounts differ');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER bank_line_is_guarded BEFORE UPDATE OR DELETE ON billing_bankline
FOR EACH ROW EXECUTE FUNCTION billing_guard_bank_line();

CREATE FUNCTION billing_guard_bank_file() RETURNS trigger AS $$
BEGIN
    PERFORM billing_refuse(
        CASE TG_OP WHEN 'DELETE' THEN 'bank_file_is_not_deleted'
            ELSE 'bank_file_is_not_changed' END,
        'it was taken in as it was');
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER bank_file_is_guarded BEFORE UPDATE OR DELETE ON billing_bankfile
FOR EACH ROW EXECUTE FUNCTION billing_guard_bank_file();
