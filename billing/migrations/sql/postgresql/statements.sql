-- Statements are numbered 1, 2, 3 without a hole, and what was issued is never changed.
-- The same holds for a recorded payment: it is taken back by reversing its entry.

CREATE FUNCTION billing_guard_statement() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        IF NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM billing_statement) THEN
            PERFORM billing_refuse('statement_number_is_the_next', 'the sequence has no holes');
        END IF;
        RETURN NEW;
    END IF;
    PERFORM billing_refuse(
        CASE TG_OP WHEN 'DELETE' THEN 'statement_is_not_deleted'
            ELSE 'statement_is_not_changed' END,
        'an issued statement stands for good');
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER statement_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_statement
FOR EACH ROW EXECUTE FUNCTION billing_guard_statement();

CREATE FUNCTION billing_guard_payment() RETURNS trigger AS $$
BEGIN
    PERFORM billing_refuse(
        CASE TG_OP WHEN 'DELETE' THEN 'payment_is_not_deleted'
            ELSE 'payment_is_not_changed' END,
        'reverse its entry instead');
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER payment_is_guarded BEFORE UPDATE OR DELETE ON billing_payment
FOR EACH ROW EXECUTE FUNCTION billing_guard_payment();
