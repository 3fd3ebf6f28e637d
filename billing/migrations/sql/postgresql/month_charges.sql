-- The charges of a month are shared when they are given their journal entry. From then on they,
-- their lines and their shares are final; only the moment of their reversal is added, once.

CREATE FUNCTION billing_guard_month_charges() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        IF NEW.entry_id IS NOT NULL THEN
            PERFORM billing_refuse('month_charges_are_written_open',
                'write lines and shares first, then set entry_id');
        END IF;
        RETURN NEW;
    END IF;
    IF TG_OP = 'DELETE' THEN
        IF OLD.entry_id IS NOT NULL THEN
            PERFORM billing_refuse('posted_month_charges_are_not_deleted',
                'reverse them and share the month again');
        END IF;
        RETURN OLD;
    END IF;
    IF OLD.entry_id IS NULL AND NEW.entry_id IS NOT NULL THEN
        IF NEW.total_minor <> (
            SELECT coalesce(sum(amount_minor), 0) FROM billing_monthchargeline
            WHERE charges_id = OLD.id
        ) OR NEW.total_minor <> NEW.studio_minor + (
            SELECT coalesce(sum(amount_minor), 0) FROM billing_monthchargeshare
            WHERE charges_id = OLD.id
        ) THEN
            PERFORM billing_refuse('posted_month_charges_add_up',
                'lines and shares must each sum to the total');
        END IF;
    ELSIF OLD.entry_id IS NOT NULL AND (
        OLD.reversed_at IS NOT NULL OR NEW.reversed_at IS NULL
        OR to_jsonb(OLD) - 'reversed_at' IS DISTINCT FROM to_jsonb(NEW) - 'reversed_at'
    ) THEN
        PERFORM billing_refuse('posted_month_charges_are_not_changed',
            'reverse them and share the month again');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER month_charges_are_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_monthcharges
FOR EACH ROW EXECUTE FUNCTION billing_guard_month_charges();

CREATE FUNCTION billing_guard_part_of_charges() RETURNS trigger AS $$
BEGIN
    IF TG_OP <> 'INSERT' THEN
        PERFORM 1 FROM billing_monthcharges WHERE id = OLD.charges_id FOR SHARE;
        IF EXISTS (
            SELECT 1 FROM billing_monthcharges WHERE id = OLD.charges_id AND entry_id IS NOT NULL
        ) THEN
            PERFORM billing_refuse('part_of_posted_charges_is_not_changed',
                'reverse them and share the month again');
        END IF;
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    PERFORM 1 FROM billing_monthcharges WHERE id = NEW.charges_id FOR SHARE;
    IF EXISTS (
        SELECT 1 FROM billing_monthcharges WHERE id = NEW.charges_id AND entry_id IS NOT NULL
    ) THEN
        PERFORM billing_refuse('posted_charges_take_no_part',
            'reverse them and share the month again');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER charge_line_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_monthchargeline
FOR EACH ROW EXECUTE FUNCTION billing_guard_part_of_charges();

CREATE TRIGGER charge_share_is_guarded
BEFORE INSERT OR UPDATE OR DELETE ON billing_monthchargeshare
FOR EACH ROW EXECUTE FUNCTION billing_guard_part_of_charges();
