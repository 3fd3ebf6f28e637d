-- A tariff version is final too when it priced part of a firing that began under another one
-- (its id stands in the working of the energy line), or charges of a month.

CREATE FUNCTION billing_guard_used_tariff() RETURNS trigger AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM billing_monthchargeline WHERE tariff_id = OLD.id) OR EXISTS (
        SELECT 1 FROM billing_costline
        WHERE kind = 'energy' AND working -> 'tariff_ids' @> to_jsonb(OLD.id)
    ) THEN
        PERFORM billing_refuse(
            CASE TG_OP WHEN 'DELETE' THEN 'used_tariff_is_not_deleted'
                ELSE 'used_tariff_is_not_changed' END,
            'add a version that holds from a later day');
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER used_tariff_is_guarded BEFORE UPDATE OR DELETE ON billing_tariffversion
FOR EACH ROW EXECUTE FUNCTION billing_guard_used_tariff();
