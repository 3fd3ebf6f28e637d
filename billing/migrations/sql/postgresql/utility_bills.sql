-- A bill stands as it came. It is paid once and reversed once; no day is billed twice.

ALTER TABLE billing_utilitybill ADD CONSTRAINT no_day_is_billed_twice
EXCLUDE USING gist (daterange(first_day, last_day, '[]') WITH &&) WHERE (reversed_at IS NULL);

CREATE FUNCTION billing_guard_bill() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        PERFORM billing_refuse('bill_is_not_deleted', 'reverse it and enter the right one');
    END IF;
    IF OLD.reversed_at IS NOT NULL
        OR (OLD.paid_entry_id IS NOT NULL
            AND NEW.paid_entry_id IS DISTINCT FROM OLD.paid_entry_id)
        OR to_jsonb(OLD) - 'reversed_at' - 'paid_entry_id'
            IS DISTINCT FROM to_jsonb(NEW) - 'reversed_at' - 'paid_entry_id'
    THEN
        PERFORM billing_refuse('bill_is_not_changed', 'reverse it and enter the right one');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER bill_is_guarded BEFORE UPDATE OR DELETE ON billing_utilitybill
FOR EACH ROW EXECUTE FUNCTION billing_guard_bill();
