-- The cost of a firing is posted when it is given its journal entry. From then on it, its lines,
-- its shares and their steps are final; only the moment of its reversal is added, once. Lines sum
-- to the pool, so do the parts of the pool; each share is its part and its steps. A tariff version
-- that priced a firing is final too.

CREATE FUNCTION billing_guard_cost() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        IF NEW.entry_id IS NOT NULL THEN
            PERFORM billing_refuse('cost_is_written_open',
                'write lines and shares first, then set entry_id');
        END IF;
        RETURN NEW;
    END IF;
    IF TG_OP = 'DELETE' THEN
        IF OLD.entry_id IS NOT NULL THEN
            PERFORM billing_refuse('posted_cost_is_not_deleted',
                'reverse it and price the firing again');
        END IF;
        RETURN OLD;
    END IF;
    IF OLD.entry_id IS NULL AND NEW.entry_id IS NOT NULL THEN
        IF NEW.pool_minor <> (
            SELECT coalesce(sum(amount_minor), 0) FROM billing_costline WHERE cost_id = OLD.id
        ) OR NEW.pool_minor <> NEW.studio_minor + (
            SELECT coalesce(sum(split_minor), 0) FROM billing_share WHERE cost_id = OLD.id
        ) THEN
            PERFORM billing_refuse('posted_cost_adds_up',
                'lines and shares must each sum to the pool');
        END IF;
        IF EXISTS (
            SELECT 1 FROM billing_share AS share WHERE share.cost_id = OLD.id AND (
                share.amount_minor < 0 OR share.amount_minor <> share.split_minor + (
                    SELECT coalesce(sum(step.amount_minor), 0) FROM billing_chargestep AS step
                    WHERE step.share_id = share.id
                )
            )
        ) THEN
            PERFORM billing_refuse('posted_share_is_its_steps',
                'a share is its part of the pool and its steps');
        END IF;
    ELSIF OLD.entry_id IS NOT NULL AND (
        OLD.reversed_at IS NOT NULL OR NEW.reversed_at IS NULL
        OR to_jsonb(OLD) - 'reversed_at' IS DISTINCT FROM to_jsonb(NEW) - 'reversed_at'
    ) THEN
        PERFORM billing_refuse('posted_cost_is_not_changed',
            'reverse it and price the firing again');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER cost_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_firingcost
FOR EACH ROW EXECUTE FUNCTION billing_guard_cost();

CREATE FUNCTION billing_guard_tariff() RETURNS trigger AS $$
BEGIN
    IF EXISTS (SELECT 1 FROM billing_firingcost WHERE tariff_id = OLD.id) THEN
        PERFORM billing_refuse('used_tariff_is_not_changed',
            'add a version that holds from a later day');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER tariff_is_guarded BEFORE UPDATE ON billing_tariffversion
FOR EACH ROW EXECUTE FUNCTION billing_guard_tariff();
