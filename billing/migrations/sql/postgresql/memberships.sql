-- A membership that changed a charge is final but for whether it is still offered.

CREATE FUNCTION billing_guard_membership() RETURNS trigger AS $$
BEGIN
    IF to_jsonb(OLD) - 'is_offered' IS DISTINCT FROM to_jsonb(NEW) - 'is_offered'
    AND EXISTS (SELECT 1 FROM billing_chargestep WHERE membership_id = OLD.id) THEN
        PERFORM billing_refuse('used_membership_is_not_changed',
            'add another and let accounts hold it');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER membership_is_guarded BEFORE UPDATE ON billing_membership
FOR EACH ROW EXECUTE FUNCTION billing_guard_membership();
